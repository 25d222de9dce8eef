"""A scan of another plate, or with places exchanged, is asked about before anything is concluded. Recordings are simulated."""

import json
import shutil
from pathlib import Path

import pytest

from tapscan.records import ScanConditions
from tapscan.register.database import open_register
from tapscan.register.entries import NewScan
from tapscan.register.scans import find_scan, list_scans
from tapscan.report.first_screen import ALONE, HELD_BACK
from tapscan.workflow.check import Request
from tapscan.workflow.import_scan import import_scan
from tapscan.workflow.notices import UNREAD
from tapscan.workflow.reading import reading_of
from tests.cli.commands import run
from tests.register.built import DAY

SIMULATED = Path(__file__).parents[2] / "reference_recordings" / "simulated"
GRAND, OTHER = (sorted((SIMULATED / name).glob("*.flac")) for name in ("strut-before", "sound-parlour-grand"))
HOW = ("--order", "soft,hard", "--state", "stripped", "--sensor", "contact", "--bare", "--yes")
SWAPPED = {"S2": "S9", "S9": "S2"}
pytestmark = pytest.mark.usefixtures("measured_once")


@pytest.fixture(scope="module")
def shop(tmp_path_factory) -> Path:
    """B12 and C7, each with one scan."""
    folder = tmp_path_factory.mktemp("which") / "register"
    for plate, files in (("B12", GRAND), ("C7", OTHER)):
        assert run("plate", "add", plate, "--register", folder).status == 0
        done = run("scan", "import", plate, *files, *HOW, "--date", "2026-03-14", "--register", folder)
        assert done.status == 0, done.err
    return folder


@pytest.fixture
def where(shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TAPSCAN_REGISTER", str(shutil.copytree(shop, tmp_path / "register")))
    return tmp_path / "register"


def told(name: str) -> dict:
    return json.loads(run("scan", "show", name, "--json", "-").out)


def test_first_scans_of_two_plates_are_not_doubted(where):
    assert told("B12/2026-03-14")["doubts"] == told("C7/2026-03-14")["doubts"] == []


def test_a_scan_of_another_plate_is_stored_as_doubtful_and_is_no_baseline(where):
    done = run("scan", "import", "B12", *OTHER, *HOW, "--again", "--baseline", "--date", "2026-06-01")
    assert done.status == 0, done.err
    assert "Doubtful: which plate" in done.out
    now = told("B12/2026-06-01")
    (doubt,) = now["doubts"]
    assert (doubt["kind"], doubt["beside"], doubt["sounds_like"]) == ("which plate", "B12/2026-03-14", "C7/2026-03-14")
    assert now["disposition"] == "inconclusive"
    assert now["comparison"] is None and "which plate" in now["comparison_reason"]
    assert not find_scan(open_register(where), "B12/2026-06-01").baseline
    refused = run("plate", "baseline", "B12", "B12/2026-06-01")
    assert refused.status == 1 and "which plate" in refused.err and "--although" in refused.err
    assert not find_scan(open_register(where), "B12/2026-06-01").baseline


def test_a_new_plates_first_scan_that_repeats_another_plate_is_doubted(where):
    assert run("plate", "add", "D1").status == 0
    assert run("scan", "import", "D1", *GRAND, *HOW, "--again").status == 0
    (entry,) = list_scans(open_register(where), "D1")
    (doubt,) = told(entry.name)["doubts"]
    assert (doubt["kind"], doubt["sounds_like"]) == ("which plate", "B12/2026-03-14")


def exchanged() -> list[str]:
    return [w for f in GRAND if (s := f.name.split("_")[0]) in SWAPPED for w in ("--assign", f"{f.name}={SWAPPED[s]}")]


def test_exchanged_places_are_named_until_a_person_has_made_sure(where):
    done = run("scan", "import", "B12", *GRAND, *HOW, *exchanged(), "--again", "--date", "2026-06-01")
    assert done.status == 0, done.err
    now = told("B12/2026-06-01")
    (doubt,) = now["doubts"]
    assert (doubt["kind"], set(doubt["places"])) == ("which places", set(SWAPPED))
    assert now["disposition"] == "inconclusive"
    assert now["headline"] == "Doubtful: which places"
    for _ in range(2):  # what a person said is remembered
        done = run("scan", "rescreen", "B12/2026-06-01", *(() if _ else ("--same-plate",)))
        assert done.status == 0, done.err
        assert told("B12/2026-06-01")["doubts"] == []
        assert "Doubtful" not in done.out


def test_exchanged_places_are_given_back_once_stored_and_stay_so(where):
    again = run("scan", "import", "B12", *GRAND, *HOW, *exchanged(), "--date", "2026-06-01")
    assert again.status == 1 and "tapscan scan rescreen B12/2026-03-14" in again.err and "--assign" in again.err
    done = run("scan", "import", "B12", *GRAND, *HOW, *exchanged(), "--again", "--date", "2026-06-01")
    back = [w for a, b in SWAPPED.items() for w in ("--assign", f"{a}={b}")]
    ways = ("tapscan scan rescreen B12/2026-06-01 --same-plate", "tapscan scan move B12/2026-06-01 ")
    assert all(way in " ".join(done.out.split()) for way in ways)
    assert " ".join(back) in " ".join(done.out.split())
    right = {s["id"]: s["station"] for s in told("B12/2026-03-14")["strikes"]}
    for words in (back, ()):  # what a person said is remembered
        done = run("scan", "rescreen", "B12/2026-06-01", *words)
        assert done.status == 0, done.err
        now = told("B12/2026-06-01")
        assert now["doubts"] == [] and {s["id"]: s["station"] for s in now["strikes"]} == right
    for typed in (
        ("--assign", "T1=S2", "--assign", "T1=S5"),
        ("--order", ""), ("--order", "soft,soft,soft,hard,hard"), ("--order", "soft,hard", "--per-station", "3"),
    ):  # fmt: skip
        refused = run("scan", "rescreen", "B12/2026-06-01", *typed)
        assert (refused.status, refused.err.count("\n")) == (2, 1), (typed, refused.err)
    wrong = run("scan", "rescreen", "B12/2026-06-01", "--assign", "S77=S1")
    assert wrong.status == 1 and "S77" in wrong.err


def test_who_says_yes_beforehand_is_not_asked(where):
    done = run("scan", "import", "B12", *OTHER, *HOW, "--again", "--same-plate", "--date", "2026-06-01")
    assert done.status == 0, done.err
    assert told("B12/2026-06-01")["doubts"] == []


def test_a_scan_that_goes_to_another_plate_is_read_there_and_asked_about_anew(where):
    assert run("plate", "add", "D1").status == 0
    done = run("scan", "import", "B12", *OTHER, *HOW, "--again", "--same-plate", "--date", "2026-06-01")
    assert done.status == 0 and told("B12/2026-06-01")["made_sure"], done.err
    done = run("scan", "move", "B12/2026-06-01", "D1", "--reason", "wrong label")
    assert done.status == 0, done.err
    now = told("D1/2026-06-01")
    assert (now["made_sure"], [d["sounds_like"] for d in now["doubts"]]) == (False, ["C7/2026-03-14"])
    assert "Doubtful: which plate" in done.out and find_scan(open_register(where), "D1/2026-06-01").current.number == 2
    assert run("scan", "rescreen", "D1/2026-06-01", "--same-plate").status == 0
    assert run("scan", "rescreen", "D1/2026-06-01").status == 0
    assert told("D1/2026-06-01")["made_sure"], "said of this plate"
    done = run("scan", "move", "D1/2026-06-01", "D1", "--to", "2026-05-30", "--reason", "the clock")
    assert done.status == 0 and "D1/2026-05-30" in done.out and told("D1/2026-05-30")["made_sure"], "of the same plate"
    assert run("scan", "move", "D1/2026-05-30", "D1", "--reason", "the clock").status == 1


def test_what_was_made_sure_of_the_other_plate_counts_no_more_where_the_scan_was_crossed_out(where):
    assert run("plate", "add", "D1").status == 0
    stored("B12", OTHER, "--same-plate", date="2026-06-01")
    assert run("scan", "void", "B12/2026-06-01", "--reason", "wrong plate").status == 0
    done = run("scan", "move", "B12/2026-06-01", "D1", "--reason", "wrong label")
    assert done.status == 0 and "screening" not in done.out, done.err
    assert run("scan", "void", "D1/2026-06-01", "--undo").status == 0
    assert UNREAD in " ".join(run("scan", "show", "D1/2026-06-01").out.split())
    assert run("scan", "rescreen", "D1/2026-06-01").status == 0
    now = told("D1/2026-06-01")
    assert not now["made_sure"] and now["doubts"]


@pytest.mark.parametrize(("answer", "stored"), [(False, False), (True, True)])
def test_the_answer_decides_before_anything_is_stored(where, answer, stored):
    register, asked = open_register(where), []

    def sure(doubts):
        asked.extend(d.kind for d in doubts)
        return answer

    new = NewScan(DAY.replace(month=6), ScanConditions(state="stripped"))
    kept = import_scan(register, "B12", [str(f) for f in OTHER], new, Request(), sure=sure, again=True)
    assert asked == ["which plate"]
    assert (kept.entry is not None) is stored
    assert len(list_scans(register, "B12")) == 1 + stored
    if kept.screening:
        assert kept.screening.doubts == ()


def stored(plate: str, files: list, *more: str, date: str) -> None:
    done = run("scan", "import", plate, *files, *HOW, *more, "--again", "--date", date)
    assert done.status == 0, done.err


@pytest.mark.parametrize("what", ["which plate", "which places"])
def test_a_doubtful_scan_is_compared_only_when_somebody_has_made_sure(where, what):
    assert run("plate", "baseline", "B12", "B12/2026-03-14").status == 0
    stored("B12", *((OTHER,) if what == "which plate" else (GRAND, *exchanged())), date="2026-06-01")
    for words in ((), ("--scan", "2026-06-01"), ("--json", "-")):
        done = run("compare", "B12", *words)
        assert (done.status, done.out) == (1, "") and what in done.err and "--same-plate" in done.err, words
    page = reading_of(open_register(where), "B12/2026-06-01").short
    assert ALONE not in page and HELD_BACK.partition(": ")[2] in page
    assert run("scan", "rescreen", "B12/2026-06-01", "--same-plate").status == 0
    assert run("compare", "B12").status == 0
