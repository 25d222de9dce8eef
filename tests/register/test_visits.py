"""Visits on disk: what is noted comes back, one a plate and day; what may be a crack is told everywhere; photos stay with plate and region."""

import csv
import datetime as dt
import json

import pytest
from msgspec.structs import replace

from tapscan.errors import BadRequest, UnknownName
from tapscan.places import REGIONS, SIGNS
from tapscan.register.database import make_register, open_register
from tapscan.register.entries import CLEAN, EYE_SUSPECTS, SEEN, Finding, Outcome, Plate
from tapscan.register.files import keep_bytes
from tapscan.register.plates import add_plate, find_plate
from tapscan.register.upkeep import back_up, check_register
from tapscan.register.visit_entries import Look, Visit
from tapscan.register.visits import (
    add_look_outcome,
    add_look_photo,
    find_visit,
    keep_visit,
    list_visits,
    remove_look_photo,
)
from tapscan.screening.open_findings import EXAMINED
from tapscan.workflow.exports import export_csv, export_json
from tapscan.workflow.eye import eye_of
from tapscan.workflow.still_open import open_findings
from tapscan.workflow.visit import known_of, typed_visit
from tapscan.workflow.write_visit import found_of, visit_sheet
from tests.every import each
from tests.snapshots import same_as_before

DAY = dt.date(2026, 11, 27)
LOOKS = (
    Look("struts", "nothing"),
    Look("corners", "note", ("rust-line", "other"), "40 mm"),
    Look("underside", "hidden", note="wall"),
)
VISIT = Visit(
    "B12", DAY, "Hollis & Wren", "48 213", "14 Quince Road", "A. Person", "the owner", "strung", "damp", LOOKS
)


def test_what_is_noted_comes_back_and_a_second_keeping_replaces_it(register):
    kept = keep_visit(register, VISIT)
    assert replace(kept, stored_utc=None, id=None) == VISIT
    again = keep_visit(register, replace(VISIT, looks=LOOKS[:2], place=None))
    assert [v.id for v in list_visits(register)] == [kept.id] and again.looks == LOOKS[:2] and again.place is None
    assert find_visit(open_register(register.folder), "B12") == again == find_visit(register, "B12/2026-11-27")


def test_a_name_that_is_not_there_lists_those_there_are(register):
    with pytest.raises(UnknownName, match="no visit of 'B12' is noted yet"):
        find_visit(register, "B12")
    keep_visit(register, VISIT)
    with pytest.raises(UnknownName, match="there is B12/2026-11-27"):
        find_visit(register, "B12/2026-11-28")
    with pytest.raises(UnknownName):
        find_visit(register, "B12/2026-11-27-2")  # a scan is called so; a visit is one a day


@each(
    "look",
    [
        Look("leg", "nothing"),
        Look("struts", "note", ("ghost",)),
        Look("struts", "nothing", ("repair",)),
        Look("struts", "maybe"),
    ],
)
def test_what_cannot_be_meant_is_refused_and_nothing_is_kept(look, register):
    with pytest.raises(BadRequest):
        keep_visit(register, replace(VISIT, looks=(look,)))
    assert list_visits(register) == []


SUSPECT = [(s, s in (*EYE_SUSPECTS, "repair")) for s in SIGNS]


@each(("sign", "suspect"), SUSPECT)
def test_which_signs_may_be_a_crack(sign, suspect):
    assert Look("rim", "note", (sign,)).suspect == suspect
    assert Look("rim", "note", (sign, "rust-line")).suspect


def test_a_note_whose_kind_nobody_said_is_taken_for_a_crack_and_says_so():
    odd = Look("rim", "note", (), "odd")
    assert odd.suspect and "may be a crack" in odd.told and odd.told != Look("rim", "note", ("other",), "odd").told
    same_as_before("visit", odd.told, part="a note whose kind nobody said")
    assert not Look("rim", "nothing", note="all well").suspect and not Look("rim", "hidden", note="cloth").suspect


def test_a_scan_of_that_day_knows_what_the_visit_saw(register):
    keep_visit(register, VISIT)
    (seen,) = eye_of(register, "B12", DAY, ())
    assert "corners" in seen and "40 mm" in seen
    assert len(eye_of(register, "B12", DAY, [Finding("rust-line", "seen")])) == 2
    assert eye_of(register, "B12", DAY + dt.timedelta(1), ()) == ()


def test_a_photo_is_with_its_region_and_with_the_plate_and_in_the_backup(register, tmp_path):
    file = keep_bytes(register.folder, b"\xff\xd8\xff photo", "p.jpg")
    for _ in range(2):
        visit = add_look_photo(register, "B12", DAY, "corners", file)
    assert [f.sha256 for look in visit.looks for f in look.photos] == [file.sha256]
    assert keep_visit(register, VISIT).round[2].photos == (file,), "keeping the answers leaves the photos"
    assert check_register(register).wrong == ()
    back_up(register, tmp_path / "copy")
    assert list_visits(open_register(tmp_path / "copy"))[0].looks == keep_visit(register, VISIT).looks
    assert remove_look_photo(register, visit, "corners", file.sha256).round[2].photos == ()
    assert [f.sha256 for f in find_plate(register, "B12").photos] == [file.sha256]


def test_visits_are_in_both_exports_and_no_formula_is(register, tmp_path):
    add_plate(register, Plate("C1"))
    keep_visit(register, replace(VISIT, place="=HYPERLINK(1)"))
    export_csv(register, tmp_path / "csv")
    with (tmp_path / "csv" / "visits.csv").open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert row["place"] == "'=HYPERLINK(1)" and row["by_whom"] == "A. Person"
    with (tmp_path / "csv" / "visit_looks.csv").open(encoding="utf-8-sig", newline="") as file:
        assert [r["region"] for r in csv.DictReader(file)] == ["struts", "corners", "underside"]
    export_json(register, tmp_path / "all.json")
    plates = json.loads((tmp_path / "all.json").read_text(encoding="utf-8"))["plates"]
    assert [len(p["visits"]) for p in plates] == [1, 0]


def test_a_form_is_read_whole_and_a_note_without_an_answer_is_asked_about():
    typed = typed_visit(
        "B12",
        DAY,
        {"look-struts": "note", "note-struts": " bent ", "maker": "", "state": "strung"},
        {"struts": ["other"]},
    )
    assert typed.looks == (Look("struts", "note", ("other",), "bent"),) and (typed.maker, typed.state) == (
        None,
        "strung",
    )
    for fields, signs in (({"note-rim": "odd"}, {}), ({}, {"rim": ["repair"]}), ({"look-rim": "fine"}, {})):
        with pytest.raises(BadRequest, match=REGIONS["rim"]):
            typed_visit("B12", DAY, fields, signs)


LATER, LAST = dt.date(2026, 12, 3), dt.date(2026, 12, 10)


def examined(found: str, on: dt.date = LATER, by: str = "A. Person") -> Outcome:
    return Outcome(found, "magnetic particles", by, on)


def later_visit(register):
    """What is known on a later day on which the eye saw nothing."""
    return known_of(register, keep_visit(register, Visit("B12", LAST, state="strung", looks=(Look("corners", "nothing"),))))  # fmt: skip


def test_what_was_seen_stays_open_until_an_examination_names_what_it_was_and_both_stay_in_the_documents(register):
    first = keep_visit(register, VISIT)
    assert later_visit(register).advice.code == "eye", "nobody examined it"
    add_look_outcome(register, first, "corners", examined(CLEAN + "the corner, from above"))
    known = later_visit(register)
    assert known.advice.code == "eye" and known.explained == (), "nothing found names nothing"
    (told,) = found_of(known)
    assert told.weighs and "nothing was found" in told.text and "stays open" in told.text
    first = add_look_outcome(register, first, "corners", examined(SEEN + "a crack in the lacquer", LAST, "B. Person"))
    known = later_visit(register)
    assert known.advice.code != "eye" and not known.stop and [d for d, _ in known.explained] == [DAY]
    (told,) = found_of(known)
    assert not told.weighs and DAY.isoformat() in told.title
    for words in ("a line of rust", "nothing was found", "lacquer", "B. Person", LAST.isoformat()):
        assert words in told.text, "nothing vanishes"
    assert first.suspects == () and [o.by_whom for o in first.explained[0].outcomes] == ["A. Person", "B. Person"]
    assert not known_of(register, first).stop, "nor does its own day's document say to stop"
    again = Visit("B12", LAST, looks=(Look("corners", "note", ("rust-line",)),))
    assert known_of(register, keep_visit(register, again)).advice.code == "eye", "seen again it is open again"


def test_a_flaw_that_an_examination_found_is_never_explained_away(register):
    first = keep_visit(register, VISIT)
    add_look_outcome(register, first, "corners", examined("crack, 40 mm"))
    first = add_look_outcome(register, first, "corners", examined(SEEN + "the lacquer", LAST))
    known = later_visit(register)
    assert known.advice.code == "confirmed" and len(first.suspects) == 1
    (opened,) = open_findings(register, "B12")
    assert opened.rule == EXAMINED and opened.visit and "crack, 40 mm" in opened.sentence
    assert open_findings(register, "B12", before=(dt.date(2026, 11, 1), 1)) == ()


@each("flaw_first", [True, False])
def test_the_flaw_stands_first_and_of_the_rest_the_newest(flaw_first, register):
    visit = keep_visit(register, VISIT)
    told = [examined("crack, 40 mm", LATER), examined(SEEN + "the lacquer", LATER), examined(CLEAN + "the rim", LAST)]
    for one in told if flaw_first else told[::-1]:
        visit = add_look_outcome(register, visit, "corners", one)
    assert [o.on for o in visit.round[2].weighed] == [LATER, LAST, LATER] and visit.round[2].weighed[0].flaw
    for known in (known_of(register, visit), later_visit(register)):
        (found,) = (f for f in found_of(known) if "40 mm)" in f.text)
        first = found.text[: found.never_cut]
        assert "crack, 40 mm" in first and "lacquer" not in first and found_of(known)[0].never_cut


BAD_OUTCOMES = [
    ("corners", examined("  "), "what was found"),
    ("corners", examined("a crack", by=" "), "who examined it"),
    ("corners", examined("a crack", dt.date(2026, 11, 26)), "seen later"),
    ("struts", examined("a crack"), "nothing was noted"),
    ("leg", examined("a crack"), "no region"),
]


@each(("region", "outcome", "said"), BAD_OUTCOMES)
def test_hearsay_about_what_was_seen_is_refused(region, outcome, said, tmp_path):
    register = make_register(tmp_path / f"r-{abs(hash((region, said)))}")
    add_plate(register, Plate("B12"))
    first = keep_visit(register, VISIT)
    with pytest.raises(BadRequest, match=said):
        add_look_outcome(register, first, region, outcome)
    assert not any(look.outcomes for look in find_visit(register, "B12").looks)


def test_an_outcome_told_twice_counts_once_and_noting_the_round_again_keeps_it(register, tmp_path):
    first = keep_visit(register, VISIT)
    for _ in range(2):
        first = add_look_outcome(register, first, "corners", examined(SEEN + "the lacquer"))
    assert [len(look.outcomes) for look in first.looks] == [0, 1, 0]
    assert len(keep_visit(register, VISIT).explained[0].outcomes) == 1
    export_csv(register, tmp_path / "csv")
    with (tmp_path / "csv" / "visit_outcomes.csv").open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert (row["region"], row["found"], row["by_whom"]) == ("corners", SEEN + "the lacquer", "A. Person")


BOLTS = Look("nose-bolts", "note", ("loose-nose-bolts",), "second from the bass")


def test_maker_number_and_a_loose_bolt_of_last_years_visit_stand_in_this_years_and_say_of_when_they_are(register):
    for year, number in ((2024, "1"), (2025, "48 213")):
        keep_visit(
            register, Visit("B12", dt.date(year, 11, 28), "Hollis & Wren", number, "14 Quince Road", looks=(BOLTS,))
        )
    known = known_of(register, keep_visit(register, Visit("B12", LAST, maker="H & W")))
    assert known.lasting == {"piano_number": ("48 213", dt.date(2025, 11, 28))}, (
        "the newest, and only what this one leaves open"
    )
    sheet = visit_sheet(register, known)
    (piano,) = (said for name, said in sheet.head if name == "Piano")
    assert piano.startswith("H & W, ") and "2025-11-28" in piano and dict(sheet.head)["Where"] == "not written down"
    assert dict(sheet.facts)["Number of the piano"].endswith("2025-11-28)")
    (told,) = (f for f in found_of(known) if BOLTS.note in f.text)
    assert not told.weighs and told.text.count("2025-11-28") == 1 and "2024" not in told.text
    again = known_of(register, keep_visit(register, Visit("B12", LAST, looks=(BOLTS,))))
    assert again.noted_before == () and known_of(register, find_visit(register, "B12/2024-11-28")).lasting == {}
