"""An inspector's visit from the round to the document: a telephone, talk and a lorry are in the recording. Taps and noises are simulated, the voice is a program's."""

import re
from pathlib import Path

import pytest
import soundfile

from tapscan.layouts import read_layout
from tapscan.places import EYE_REGIONS, KEYS, SIGNS
from tapscan.register.database import open_register
from tapscan.register.scans import list_scans
from tapscan.register.visits import find_visit
from tapscan.screening.next_steps import CALL, STOP
from tapscan.workflow.import_scan import stored_screening
from tapscan.workflow.visit import known_of
from tapscan.workflow.visit_unknown import unknown_of
from tests.cli.commands import flat, run, screens
from tests.onsite.take import PLACES, RATE_HZ, take
from tests.report.reading import Reading
from tests.report.visits import photo_file
from tests.snapshots import same_as_before

DAY = ("--on", "2026-11-27")
SUSPECT = ("--found", "corners:rust-line,cracked-finish:40 mm")
UPRIGHT = read_layout("upright-short")
BARRED = [s for s in UPRIGHT.stations if s not in UPRIGHT.allowed("strung")]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    monkeypatch.chdir(tmp_path)
    assert run("plate", "add", "U7", "--pattern", "full upright").status == 0
    for name in ("a", "b"):
        photo_file(tmp_path, f"{name}.jpg", {"a": "gray", "b": "tan"}[name])
    return tmp_path


def done(*words: object) -> str:
    told = run(*words)
    assert told.status == 0, told.err
    return flat(told.out)


def visited(folder: Path):
    register = open_register(folder / "register")
    return known_of(register, find_visit(register, "U7"))


def document(folder: Path) -> tuple[str, str]:
    """What is read on the page, and in the appendix."""
    done("visit", "report", "U7", "--out", "v.html", "--for", "Ms Perry")
    page, _, appendix = flat(Reading((folder / "v.html").read_text(encoding="utf-8")).text).partition(" Appendix ")
    return page, appendix


def what_the_document_says(folder, known, used):
    page, appendix = document(folder)
    # what is known
    heard = f"{used} taps at 4 places heard"
    assert heard in page
    unmeasured = page.partition(" What was looked at, tapped")[0].replace(heard, "SOME taps at 4 places heard")
    told = f"{unmeasured}\n\nAppendix\n{appendix.partition(' The taps: scan')[0]}"
    same_as_before("visit-document", told.replace(". ", ".\n"), part="a whole visit")
    assert all(word in page for word in ("Hollis & Wren", "48 213", "14 Quince Road", "R. Almond", "For Ms Perry"))
    # what is not known, each from what was not seen, not struck, not run
    codes = {u.code for u in unknown_of(known)}
    assert codes == {"hidden", "not-looked", "barred", "microphone", "checks", "in-piano", "change"}
    assert "stands against the wall" in appendix and all(p.where in appendix for p in BARRED)
    # what the buyer should do, and nothing that endangers
    assert page.index("plane of the strings") < page.index("What was found")
    asked = [s for s in known.advice.given if "call" in s.acts]
    assert asked and all(s.text in page for s in asked)
    assert not re.search(r"\.jpg|docs/|from memory", page + appendix), "the shop's file names are not the buyer's"
    assert appendix.count("simulated bare plates only") == 1, "one reason, told once"
    assert f"{UPRIGHT.name}: a plan of {len(UPRIGHT.stations)} places" in appendix
    html = (folder / "v.html").read_text(encoding="utf-8")
    assert html.count("data:image/jpeg") == 2 and "PERRY" not in html


@pytest.mark.slow
def test_a_whole_visit_with_talk_a_telephone_and_a_lorry_in_the_recording(folder):
    soundfile.write(folder / "phone.wav", take(), RATE_HZ, subtype="PCM_16")
    done("layout", "print", "upright-short", "card.html", "--state", "strung")
    done(
        "visit", "note", "U7", *DAY, "--maker", "Hollis & Wren", "--number", "48 213", "--place", "14 Quince Road", "--by", "R. Almond", "--state", "strung",
        "--hidden", "underside:stands against the wall", "--found", "nose-bolts:other:new nuts", "--clear", "struts", "--clear", "keys", "--photo", "struts:a.jpg",
        "--photo", "nose-bolts:b.jpg",
    )  # fmt: skip
    done("scan", "import", "U7", "phone.wav", "--layout", "upright-short", "--order", "soft,hard,hard", "--state", "strung", "--sensor", "microphone", "--date", "2026-11-27", "--yes")  # fmt: skip
    (entry,) = list_scans(open_register(folder / "register"))
    heard = stored_screening(open_register(folder / "register"), entry).scan
    assert [(s.station, s.force) for s in heard.strikes] == [(p, f) for p in PLACES for f in ("soft", "hard", "hard")]
    assert sum(s.usable for s in heard.strikes) >= 10, "the lorry may drown a soft tap, and nothing more"
    known = visited(folder)
    assert known.advice.code == "no-answer" and known.state == "strung"
    what_the_document_says(folder, known, sum(s.usable for s in heard.strikes))


def test_a_line_seen_by_eye_ends_the_visit_without_a_tap(folder):
    told = done(
        "visit",
        "note",
        "U7",
        *DAY,
        "--state",
        "strung",
        *SUSPECT,
        "--clear",
        "all",
    )
    assert "stop here" in told
    known = visited(folder)
    assert known.advice.code == "eye" and {"no-taps", "no-photo"} <= {u.code for u in unknown_of(known)}
    page, _ = document(folder)
    assert page.index(STOP.text) < page.index(CALL.text)
    assert {sign for look in known.visit.suspects for sign in look.signs} == {"rust-line", "cracked-finish"}
    shown = done("visit", "show", "U7")
    assert known.advice.headline in shown and "Stop. Leave the piano" in shown
    told = screens(
        ("visit", "note", "U7", *DAY, "--state", "strung", *SUSPECT, "--clear", "all"), ("visit", "show", "U7")
    )
    same_as_before("visit", told, part="a line seen by eye")
    same_as_before("visit-document", page.replace(". ", ".\n"), part="a line seen by eye")
    assert shown.index("plane of the strings") < shown.index(known.advice.headline), "cautions first here too"
    # another day without it does not clear it; an examination that names what it was does, and both are told
    done("visit", "note", "U7", "--on", "2026-11-28", "--state", "strung", "--clear", "all")
    later = visited(folder)
    assert later.visit.date.day == 28 and later.advice.code == "eye" and later.seen_before[0][1].region == "corners"
    lacquer, method, by = "a crack in the lacquer only", "finish taken off", "B. Ash"
    found = ("visit", "outcome", "U7/2026-11-27", "--region", "corners", "--method", method, "--by", by, "--on", "2026-11-28")  # fmt: skip
    assert "stays open" in done(*found, "--found", "the corner", "--clean") and visited(folder).stop
    assert "explained" in done(*found, "--found", lacquer, "--explained")
    assert not visited(folder).stop
    page, _ = document(folder)
    assert f"{lacquer} ({method}, by {by}" in page
    assert run("visit", "outcome", "U7", "--region", "corners", "--found", "x", "--method", "y", "--by", "z", "--clean", "--explained").status == 2  # fmt: skip


def test_typed_again_a_region_is_replaced_and_the_rest_stays(folder):
    done("visit", "note", "U7", *DAY, "--place", "hall", "--found", "rim:loose", "--found", "rim:other:felt", "--hidden", "underside")  # fmt: skip
    done("visit", "note", "U7", *DAY, "--clear", "all", "--by", "R. Almond")
    visit = visited(folder).visit
    assert (visit.place, visit.by_whom) == ("hall", "R. Almond")
    assert [look.note for look in visit.looks if look.region == "rim"] == ["loose; felt"], "typed in one go, both stand"
    assert [look.region for look in visit.round if look.answer != "nothing"] == ["rim", "underside", KEYS], (
        "`all` leaves what was found"
    )
    assert visit.suspects, "a note without a kind is taken for what may be a crack"
    done("visit", "note", "U7", *DAY, "--clear", "rim", "--state", "unknown", "--mistake", "a shadow")
    assert not visited(folder).visit.suspects
    assert "U7/2026-11-27" in done("visit", "list")


def test_only_who_says_so_has_played_the_keys(folder):
    done("visit", "note", "U7", *DAY, "--state", "strung", "--clear", "all")
    page, _ = document(folder)
    assert "12 of 12 regions" in page and "keys not played" in page and "Keys not played" in page
    assert "keys" in {u.code for u in unknown_of(visited(folder))} and "played, nothing noticed" not in page
    done("visit", "note", "U7", *DAY, "--clear", "keys")
    page, _ = document(folder)
    assert "keys played by hand" in page and "played, nothing noticed" in page


def test_the_terminal_says_to_stop_where_keys_buzz_too(folder):
    told = done("visit", "note", "U7", *DAY, "--state", "strung", "--found", "keys:buzz")
    assert "Something buzzed: stop here" in told
    assert "stop here" not in done("visit", "note", "U7", "--on", "2026-11-20", "--state", "strung", "--clear", "all")


def test_the_words_of_the_options_are_those_of_the_round():
    told = "".join(run("visit", "note", "--help").out.split())  # the terminal folds at hyphens
    assert f"{','.join(EYE_REGIONS)}.Onceplayed:{KEYS}." in told and ",".join(SIGNS) in told


BAD = [
    (("--clear", "leg"), "no region"),
    (("--found", "rim:ghost:odd"), "no sign"),
    (("--photo", "rim:nowhere.jpg"), "cannot be read"),
    (("--photo", "rim:a.txt"), "no photo"),
    (("--on", "2126-01-01"), "still to come"),
    (("--state", "lying"), "unknown"),
]


@pytest.mark.parametrize(("words", "said"), BAD, ids=[said for _, said in BAD])
def test_what_cannot_be_meant_is_told_in_one_line_and_nothing_is_kept(folder, words, said):
    (folder / "a.txt").write_text("no photo")
    told = run("visit", "note", "U7", *words)
    assert told.status in (1, 2) and said in told.err and len(told.err.strip().splitlines()) == 1
    assert not re.search("Traceback", told.err)
    assert "No visit is noted" in done("visit", "list")


def test_a_document_that_cannot_be_written_is_told_in_one_line(folder):
    done("visit", "note", "U7", *DAY, "--state", "strung", "--clear", "all")
    told = run("visit", "report", "U7", "--out", "no/such/v.html")
    assert told.status == 1 and "cannot be written" in told.err and len(told.err.strip().splitlines()) == 1
