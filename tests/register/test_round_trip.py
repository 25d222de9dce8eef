"""What comes out of a register equals what went in: a screening, a plate, a scan's own facts."""

import datetime as dt
import sqlite3

import numpy as np
import pytest
from msgspec.structs import asdict, replace

from tapscan.errors import BadLayout, BadRequest, RegisterProblem, UnknownName
from tapscan.layouts import layout_text
from tapscan.places import CHECKLIST
from tapscan.plain_values import written_as
from tapscan.records import Mode
from tapscan.register import tables as t
from tapscan.register.bars import note_bar
from tapscan.register.codec import plain, record_of, row_of
from tapscan.register.entries import Finding, Outcome, Plate, full_checklist
from tapscan.register.files import keep_bytes
from tapscan.register.names import name_key
from tapscan.register.plates import add_photo, add_plate, edit_plate, find_plate, list_plates, retire_plate
from tapscan.register.results import load_screening, pack_pictures, unpack_pictures
from tapscan.register.scans import (
    add_outcome,
    add_screening,
    edit_scan,
    find_scan,
    list_scans,
    set_baseline,
    store_scan,
)
from tapscan.workflow.own_layouts import keep_layout
from tests.cli.commands import run
from tests.every import each
from tests.register import built
from tests.register.conftest import put

NAMES = [
    "B12",
    "shop/B12",
    "../../etc/passwd",
    ".hidden",
    "/absolute",
    "C:\\plates\\12",
    'O\'Neil "grand"; DROP TABLE plate;--',
    "=1+1",
    "@SUM(A1)",
    "-B12",
    "100 %_done",
    "Flügel № 7 🎹",
    "B12/2026-03-14",
    "x" * 200,
]


def test_a_screening_comes_back_equal(register, stored):
    entry = stored(b"taps", pictures=3)
    expected = built.screening((entry.files[0].sha256,))
    back = load_screening(register, entry.current.id)
    assert back == expected
    assert back.scan.map == expected.scan.map
    for name in Mode.__struct_fields__:
        pair = [(getattr(a, name), getattr(b, name)) for a, b in zip(back.scan.modes, expected.scan.modes, strict=True)]
        assert all(type(a) is type(b) for a, b in pair), name


def test_a_comparison_comes_back_equal(register, stored):
    entry = stored()
    result = built.screening((entry.files[0].sha256,))
    with_it = replace(result, comparison=built.comparison())
    after = add_screening(register, entry.name, built.made(with_it))
    assert load_screening(register, after.current.id).comparison == built.comparison()
    assert load_screening(register, after.screenings[0].id).comparison is None


def test_pictures_come_back_to_a_hundredth_of_a_db(register, stored):
    entry = stored(b"taps", pictures=3)
    back = load_screening(register, entry.current.id, pictures=True).pictures
    for found, expected in zip(back, built.screening((), pictures=3).pictures, strict=True):
        assert (found.station, found.strike) == (expected.station, expected.strike)
        np.testing.assert_allclose(found.frequency_hz, expected.frequency_hz, rtol=1e-12)
        np.testing.assert_allclose(found.spectrum_db, expected.spectrum_db, atol=0.0051)
        np.testing.assert_allclose(found.time_s, expected.time_s, rtol=1e-12)
        assert (found.noise_db is None) == (expected.noise_db is None)


def test_no_pictures_are_no_file():
    assert pack_pictures(()) == b""
    with pytest.raises(ValueError, match=r"no archive|pickled|magic"):
        unpack_pictures(b"no archive")


def test_a_field_without_a_column_travels_in_more():
    class Grown(Mode, frozen=True):
        beat_hz: tuple[float, ...] = ()

    one = Grown(**asdict(built.mode(1, 440.0)), beat_hz=(1.5,))
    columns = set(written_as(Mode).values())
    row = row_of(one, columns)
    assert row["more"] == {"beat_hz": [1.5]}
    assert record_of(Grown, row) == one
    assert record_of(Mode, row) == built.mode(1, 440.0), "an older reader leaves out what it does not know"


def test_numpy_numbers_become_pythons_and_no_number_is_refused():
    assert type(plain(np.float32(0.5))) is float
    assert type(plain((np.int64(3),))[0]) is int
    with pytest.raises(RegisterProblem, match="unknown is None"):
        plain({"snr_db": float("nan")})


def test_the_facts_of_a_scan_come_back(register, stored):
    entry = stored()
    assert entry.name == "B12/2026-03-14"
    assert entry.conditions == built.CONDITIONS
    assert entry.operator == "A. Person"
    assert entry.reading == {"per_station": 3}
    assert entry.checklist == (Finding("rust-line", "seen", "bass corner"), Finding("repair", "not seen"))
    assert [f.item for f in full_checklist(entry.checklist)] == list(CHECKLIST)
    assert full_checklist(())[0].answer == "not looked at"
    assert find_scan(register, "b12/2026-03-14") == entry


@pytest.mark.parametrize("fittings", [None, (), ("agraffes", "hitch pins")])
def test_unknown_fittings_are_not_bare_iron(stored, fittings):
    conditions = replace(built.CONDITIONS, fittings=fittings)
    assert stored(conditions=conditions).conditions.fittings == fittings


def test_scans_of_one_day_are_numbered(register, stored):
    names = [stored(bytes([i])).name for i in range(3)]
    assert names == ["B12/2026-03-14", "B12/2026-03-14-2", "B12/2026-03-14-3"]
    assert [e.name for e in list_scans(register, "B12")] == names
    assert find_scan(register, names[2]).number == 3
    with pytest.raises(UnknownName, match=r"there is B12/2026-03-14, B12/2026-03-14-2, B12/2026-03-14-3"):
        find_scan(register, "B12/2026-03-15")


def test_the_same_recording_is_not_stored_twice(register, stored):
    stored()
    with pytest.raises(BadRequest, match="already stored as B12/2026-03-14"):
        stored()
    assert len(list_scans(register)) == 1


@pytest.mark.parametrize("name", NAMES)
def test_names_are_text(register, tmp_path, name):
    before = sorted(p for p in tmp_path.rglob("*") if "files" not in p.parts)
    if name != "B12":
        add_plate(register, Plate(name))
    result = built.screening((built_hash(name),))
    files = [keep_bytes(register.folder, name.encode(), name)]
    entry = store_scan(register, name, built.new_scan(operator=name, notes=name), built.made(result), files)
    assert find_plate(register, name).name == name
    assert entry.name == f"{name}/2026-03-14"
    assert find_scan(register, entry.name) == entry
    assert (entry.files[0].name, entry.operator, entry.notes) == (name, name, name)
    assert sorted(p for p in tmp_path.rglob("*") if "files" not in p.parts) == before
    inside = [p for p in (register.folder / "files").rglob("*") if p.is_file()]
    assert [p.name for p in inside] == [built_hash(name)]


def built_hash(name: str) -> str:
    import hashlib

    return hashlib.sha256(name.encode()).hexdigest()


@each("name", ["", "   ", "a\nb", "a\x1b[2J", "a\0b", "\udc80", "x" * 201])
def test_names_nobody_can_read_are_refused(register, name):
    with pytest.raises(BadRequest, match="name of a plate"):
        add_plate(register, Plate(name))


UNSEEN = ["B12\u200b", "y\u2028x", "a\u202eb", "B\u00a012", "B12\u3164", "B12\ufe0f", "B\u00ad12", "\ue000"]


@each("name", UNSEEN)
def test_a_name_with_a_sign_that_nobody_sees_is_refused(register, name):
    with pytest.raises(BadRequest, match="cannot be shown") as refused:
        add_plate(register, Plate(name))
    assert str(refused.value).isprintable()
    with pytest.raises(BadRequest, match="cannot be shown"):
        note_bar(register, name)
    with pytest.raises(BadLayout, match="cannot be shown"):
        keep_layout(register.folder, "own", layout_text("grand-short").replace('"S1"', f'"{name}"'))
    assert len(list_plates(register)) == 1


def test_such_a_name_that_is_kept_already_is_found_and_renamed(register):
    for name in UNSEEN:
        with register.writing() as connection:
            row = {"name": name, "name_key": name_key(name), "added_utc": "2026-06-01T10:00:00Z"}
            connection.execute(t.plate.insert().values(row))
            connection.execute(t.bar.insert().values(row))
        assert note_bar(register, name, "mild steel").name == name
        assert find_plate(register, name, exact=True).name == name
        assert edit_plate(register, name, name="Z9").name == "Z9"
        edit_plate(register, "Z9", name=f"Z9 {len(list_plates(register))}{ord(name[-1])}")


BYTES = "\udcff\udcfe"
EXAMINED = ("--found", "nothing", "--method", "lens", "--by", "A. Person")
TOLD = [
    ("plate", "edit", "B12", "--notes", BYTES),
    *(
        ("scan", "edit", "B12/2026-03-14", option, BYTES)
        for option in ("--notes", "--supports", "--hammer", "--fitting")
    ),
    ("scan", "edit", "B12/2026-03-14", "--seen", f"rust-line: {BYTES}"),
    *(("scan", "outcome", "B12/2026-03-14", *EXAMINED, option, BYTES) for option in ("--found", "--by", "--note")),
    ("scan", "void", "B12/2026-03-14", "--reason", BYTES),
    ("visit", "note", "B12", "--found", f"struts: {BYTES}"),
]


@each("words", TOLD)
def test_bytes_that_are_no_text_are_refused_and_not_kept_as_question_marks(register, words):
    if not list_scans(register):
        put(register)
    before = [find_plate(register, "B12"), *list_scans(register, void=True)]
    done = run(*words, "--register", str(register.folder))
    assert (done.status, done.err.count("\n")) == (2, 1) and "no text" in done.err, done.err
    assert [find_plate(register, "B12"), *list_scans(register, void=True)] == before


def test_one_name_in_two_spellings_is_one_plate(register):
    add_plate(register, Plate("Fl\u00fcgel"))
    with pytest.raises(BadRequest, match="there is a plate Fl\u00fcgel already"):
        add_plate(register, Plate("FLU\u0308GEL"))


def test_a_name_that_fits_several_lists_them(register):
    for name in ("B120", "b121", "K7"):
        add_plate(register, Plate(name))
    assert find_plate(register, "b12").name == "B12", "a full name is never ambiguous"
    with pytest.raises(UnknownName, match="3 plates match '12': B12, B120, b121"):
        find_plate(register, "12")
    assert find_plate(register, "k").name == "K7"
    with pytest.raises(UnknownName, match="near it: K7; write the name in full"):
        find_plate(register, "k", exact=True)
    with pytest.raises(UnknownName, match="there is no plate 'zz'; `tapscan plate list`"):
        find_plate(register, "zz")


def test_a_plates_facts_and_photos(register):
    photo = keep_bytes(register.folder, b"photo", "../=evil.jpg")
    plate = add_photo(register, "B12", photo)
    assert add_photo(register, "B12", photo).photos == (photo,)
    assert (plate.mass_kg, plate.pattern, plate.photos) == (104.5, "parlour grand", (photo,))
    plate = edit_plate(register, "B12", name="B13", mass_kg=None, notes="from the barn")
    assert (plate.name, plate.mass_kg, plate.notes, plate.photos) == ("B13", None, "from the barn", (photo,))
    add_plate(register, Plate("B14"))
    with pytest.raises(BadRequest, match="there is a plate B14 already"):
        edit_plate(register, "B13", name="b14")
    with pytest.raises(BadRequest, match="in kilograms"):
        edit_plate(register, "B13", mass_kg=140000.0)


def test_a_retired_plate_keeps_its_scans(register, stored):
    stored()
    retire_plate(register, "B12", dt.date(2026, 5, 1), "scrapped")
    assert list_plates(register) == []
    ((plate, scans, last),) = list_plates(register, retired=True)
    assert (plate.retired_on, plate.retired_why, scans, last) == (dt.date(2026, 5, 1), "scrapped", 1, built.DAY)
    assert len(list_scans(register, "B12")) == 1


def test_editing_a_scan_changes_what_is_asked_and_no_more(register, stored):
    before = stored()
    warmer = replace(before.conditions, iron_c=17.25)
    after = edit_scan(register, before.name, lambda e: replace(e, conditions=warmer, operator=None))
    assert after == replace(before, conditions=warmer, operator=None)


def test_a_further_screening_keeps_the_earlier_one(register, stored):
    first = stored()
    again = built.screening((first.files[0].sha256,), modes=9)
    after = add_screening(register, first.name, built.made(again))
    assert [s.number for s in after.screenings] == [1, 2]
    assert load_screening(register, after.current.id) == again
    assert load_screening(register, after.screenings[0].id) == built.screening((first.files[0].sha256,))


def test_the_baseline_is_the_scans_named(register, stored):
    names = [stored(bytes([i])).name for i in range(3)]
    set_baseline(register, "B12", names[:2])
    assert [e.baseline for e in list_scans(register, "B12")] == [True, True, False]
    set_baseline(register, "B12", names[2:])
    assert [e.baseline for e in list_scans(register, "B12")] == [False, False, True]
    add_plate(register, Plate("K7"))
    with pytest.raises(BadRequest, match="not a scan of K7"):
        set_baseline(register, "K7", names[:1])


def test_an_outcome_names_who_found_what_and_how(register, stored):
    name = stored().name
    outcome = Outcome("crack 40 mm at the treble break", "dye penetrant", "A. Person", dt.date(2026, 4, 2), "=note")
    (kept,) = add_outcome(register, name, outcome).outcomes
    assert replace(kept, entered_utc=None) == outcome
    with pytest.raises(BadRequest, match="who examined it"):
        add_outcome(register, name, replace(outcome, by_whom=" "))


def test_text_in_the_database_is_readable_without_tapscan(register, stored):
    stored()
    with sqlite3.connect(register.folder / "register.sqlite") as connection:
        rows = connection.execute("SELECT id, frequency_hz, prominent FROM mode ORDER BY position").fetchall()
    assert rows[0] == ("M1", built.screening(("0" * 64,)).scan.modes[0].frequency_hz, 0)
