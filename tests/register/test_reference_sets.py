"""Reference sets: out of one register, into another, read by the next version, and hostile ones refused with one line."""

import datetime as dt
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.register.database import make_register
from tapscan.register.entries import Outcome
from tapscan.register.reference_file import FORMAT, LARGEST_BYTES, SCHEMA_FILE, content_sha256, read_set
from tapscan.register.references import list_sets
from tapscan.register.results import load_screening
from tapscan.register.scans import add_outcome, find_scan, store_scan
from tapscan.screening.pattern.references import FLAW
from tapscan.settings import Settings
from tapscan.workflow import pattern as p
from tests.every import each
from tests.register import built
from tests.register.castings_in_register import CONDITIONS, put_casting
from tests.unit.castings import casting, reference, severed

SNAPSHOT = Path(__file__).with_name(
    "reference_set_1.json"
)  # written by the first version that had sets; never rewritten
DOCS = Path(__file__).parents[2] / "docs"


@pytest.fixture
def shop(register):
    for number in range(1, 5):
        put_casting(register, f"G{number}", casting(number))
    return register


@pytest.fixture
def given(shop, tmp_path):
    path = tmp_path / "set.json"
    p.export_set(shop, "Small  GRAND", path, owner=None)
    return path


def screening_of(scan):
    base = built.screening(("ab" * 32,))
    return replace(base, scan=replace(scan, state="stripped"), indications=(), comparison=None)


def test_what_goes_out_comes_in_to_the_bit(shop, given, tmp_path):
    other = make_register(tmp_path / "other")
    entry = p.import_set(other, given)
    assert (entry.plates, entry.pattern, entry.owner) == (4, "small grand", None)
    there = p.references_of(other, "small grand")
    own = p.references_of(shop, "small grand")
    for a, b in zip(own, there, strict=True):
        assert np.array_equal(a.frequency_hz, b.frequency_hz)
        assert np.array_equal(a.amplitude_db, b.amplitude_db, equal_nan=True)
        assert (a.stations, a.state, a.sensor, a.layout, a.outcome) == (
            b.stations,
            b.state,
            b.sensor,
            b.layout,
            b.outcome,
        )
    text = given.read_text()
    assert "G1" not in text and "B12" not in text and str(tmp_path) not in text, "no name of a plate, no path"


def test_a_shop_without_plates_judges_by_another_shops(given, tmp_path):
    other = make_register(tmp_path / "other")
    p.import_set(other, given)
    found = p.held_beside(other, "small grand", screening_of(casting(0, severed())), "contact", Settings())
    assert found.pattern is not None and len(found.pattern.used) == 4
    assert "P1" in [i.id for i in found.indications] and found.disposition == "relevant indication"
    assert all(s.of_set == "small grand" for s in found.pattern.sisters)


def test_ones_own_set_taken_in_again_counts_no_plate_twice(shop, given):
    p.import_set(shop, given)
    found = p.held_beside(shop, "small grand", screening_of(casting(1)), "contact", Settings(), leave="G1")
    assert found.pattern is not None and sorted(found.pattern.used) == [f"G{n}/2026-03-14" for n in (2, 3, 4)]


def test_a_bad_outcome_is_never_used_as_sound(shop):
    add_outcome(shop, "G2/2026-03-14", Outcome("crack 30 mm", "penetrant", "K. Vance", built.DAY))
    found = p.held_beside(shop, "small grand", screening_of(casting(0)), "contact", Settings())
    assert found.pattern is not None
    assert ("G2/2026-03-14", FLAW) in [(s.name, s.left_out) for s in found.pattern.sisters]


def test_a_plate_with_an_open_finding_is_not_used_until_examined(register):
    for number in range(1, 5):
        said = "relevant indication" if number == 3 else "no relevant indication"
        put_casting(register, f"G{number}", casting(number), disposition=said)
    names = lambda: {r.name: r.standing for r in p.references_of(register, "small grand")}  # noqa: E731
    assert names()["G3/2026-03-14"] == p.OPEN and names()["G1/2026-03-14"] is None
    add_outcome(register, "G3/2026-03-14", Outcome("nothing found", "penetrant", "K. Vance", built.DAY))
    assert names()["G3/2026-03-14"] is None


def test_a_plate_with_a_flaw_is_no_sound_one_by_its_next_scan_either(register):
    for number in range(1, 5):
        put_casting(register, f"G{number}", casting(number))
    add_outcome(register, "G3/2026-03-14", Outcome("crack", "penetrant", "K. Vance", built.DAY))
    entry, made = (
        find_scan(register, "G3/2026-03-14"),
        load_screening(register, find_scan(register, "G3/2026-03-14").current.id),
    )
    new = built.new_scan(conditions=entry.conditions, date=built.DAY + dt.timedelta(9), checklist=())
    store_scan(register, "G3", new, built.made(made), list(entry.files), again=True)
    known = {r.name: r.outcome for r in p.references_of(register, "small grand")}
    assert known["G3/2026-03-23"] == "flaw" and set(known.values()) == {"flaw", "unknown"}


def test_own_plate_without_a_pattern_says_what_to_do(register):
    found = p.beside_own_pattern(register, "B12", CONDITIONS, screening_of(casting(0)), Settings(), "B12/x")
    (why,) = [r.reason for r in found.rules_not_run if r.rule == "unlike-its-pattern"]
    assert "needs three" in why  # B12 has a pattern, and no sisters


def test_the_same_set_twice_is_refused(given, tmp_path):
    other = make_register(tmp_path / "other")
    p.import_set(other, given)
    with pytest.raises(BadRequest, match="already"):
        p.import_set(other, given)
    assert len(list_sets(other)) == 1


def test_a_set_of_the_first_version_is_read():
    found = read_set(SNAPSHOT)
    assert (found.pattern, len(found.references), found.owner) == ("parlour grand", 2, "an invented shop")
    assert found.references[0].frequency_hz[0] == pytest.approx(101.25)
    assert np.isnan(found.references[0].amplitude_db[0, 1]) and found.references[1].outcome == "flaw"


def test_keys_of_a_later_version_are_passed_over(tmp_path):
    document = json.loads(SNAPSHOT.read_text())
    document["colour"] = "black"
    document["references"][0]["weather"] = {"rain": True}
    assert len(read_set(written(tmp_path, document)).references) == 2


def written(folder: Path, document, forge: bool = False) -> Path:
    if isinstance(document, dict) and not forge:
        document["sha256"] = content_sha256(document)
    path = folder / "set.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def changed(*place, value):
    document = json.loads(SNAPSHOT.read_text())
    inner = document
    for key in place[:-1]:
        inner = inner[key]
    inner[place[-1]] = value
    return document


MODE = ("references", 0, "modes", 0)
HOSTILE = [
    ("a frequency in kHz", changed(*MODE, "frequency_hz", value=0.10125), "kHz"),
    ("other units", changed("units", "frequency", value="kHz"), "units"),
    ("a negative loss", changed(*MODE, "loss_factor", value=-0.004), "loss_factor"),
    ("text for a number", changed(*MODE, "loss_factor", value="=1+1"), "loss_factor"),
    ("a truth for a number", changed(*MODE, "frequency_hz", value=True), "frequency_hz"),
    ("a million modes", changed("references", 0, "modes", value=[None] * 1_000_000), "modes"),
    ("amplitudes for other places", changed(*MODE, "amplitude_db", value=[-10.0]), "places"),
    ("markup for a name", changed("name", value="<script>alert(1)</script>"), "name"),
    ("a line break in a place", changed("references", 0, "places", 0, value="S1\nS2"), "places"),
    ("two places of one name", changed("references", 0, "places", value=["S1", "S1", "S3"]), "places"),
    ("an unknown state", changed("references", 0, "state", value="polished"), "state"),
    ("a newer schema", changed("schema", value=99), "update tapscan"),
    ("another format", changed("format", value="something"), "format"),
    ("no object", [1, 2, 3], "not a reference set"),
]  # fmt: skip


@each(("label", "document", "said"), HOSTILE)
def test_a_hostile_set_gets_one_line(tmp_path, label, document, said):
    with pytest.raises(BadRequest) as told:
        read_set(written(tmp_path, document))
    line = str(told.value)
    assert said in line and "\n" not in line and len(line) < 600, (label, line)


@each(
    ("label", "text", "said"),
    [
        ("not a number", SNAPSHOT.read_text().replace("101.25", "NaN"), "no number"),
        ("beyond all numbers", SNAPSHOT.read_text().replace("101.25", "1e999"), "frequency_hz"),
        ("changed by hand", SNAPSHOT.read_text().replace("101.25", "101.26"), "hash"),
        ("cut off", SNAPSHOT.read_text()[:200], "not a reference set"),
        ("nested without end", "[" * 100_000, "not a reference set"),
        ("empty", "", "not a reference set"),
        ("no text", "\udcff", "not a reference set"),
    ],
)
def test_a_damaged_or_forged_file_gets_one_line(tmp_path, label, text, said):
    path = tmp_path / "set.json"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(BadRequest) as told:
        read_set(path)
    assert said in str(told.value) and "\n" not in str(told.value), (label, str(told.value))


def test_a_huge_file_is_not_read(tmp_path):
    path = tmp_path / "set.json"
    with path.open("wb") as file:
        file.truncate(LARGEST_BYTES + 1)
    with pytest.raises(BadRequest, match="larger"):
        read_set(path)


def test_the_schema_in_the_docs_is_the_one_that_is_checked():
    assert (DOCS / "reference-set.schema.json").read_text() == SCHEMA_FILE.read_text()
    assert json.loads(SCHEMA_FILE.read_text())["properties"]["format"]["const"] == FORMAT


def test_packed_modes_are_made_once(shop, monkeypatch):
    before = p.references_of(shop, "small grand")
    monkeypatch.setattr(p, "_made", lambda *_: pytest.fail("made anew"))
    after = p.references_of(shop, "small grand")
    assert [r.name for r in after] == [r.name for r in before]
    assert np.array_equal(after[0].amplitude_db, before[0].amplitude_db, equal_nan=True)
    assert np.array_equal(after[0].frequency_hz, reference(1).frequency_hz)


def test_a_backup_holds_the_sets(shop, given, tmp_path):
    p.import_set(shop, given)
    shutil.copytree(shop.folder, tmp_path / "copy")
    from tapscan.register.database import open_register

    assert [s.plates for s in list_sets(open_register(tmp_path / "copy"))] == [4]


def test_a_plates_own_scans_are_no_references_for_it(shop):
    assert [r.name[:2] for r in p.references_of(shop, "small grand", leave="g1")] == ["G2", "G3", "G4"]
