"""What later events may not undo: a finding that was not looked for again, steps that were safe, what the eye saw. Found by using the tool as a shop does."""

import datetime as dt

import pytest
from msgspec.structs import replace

from tapscan.records import RuleNotRun
from tapscan.records.heard import Heard
from tapscan.register.corrections import void_scan
from tapscan.register.entries import IN_IRON, PART, SEEN, Finding, Outcome
from tapscan.register.plates import edit_plate
from tapscan.register.results import load_screening
from tapscan.register.scans import add_outcome, add_screening, find_scan, list_scans
from tapscan.register.visit_entries import Look, Visit
from tapscan.register.visits import keep_visit
from tapscan.screening.disposition import LOOK, NO_ANSWER_OPEN, OPEN, dispose
from tapscan.screening.next_steps import STOP, held, of_lines
from tapscan.screening.open_findings import EYE_RULE, OpenFinding, still_open
from tapscan.screening.past_scan import PastScan
from tapscan.settings import Settings
from tapscan.workflow import history
from tapscan.workflow.conclude import conclude
from tapscan.workflow.notices import EARLIER_READING, notices
from tapscan.workflow.outcome import note_outcome
from tapscan.workflow.reading import reading_of
from tapscan.workflow.still_open import open_findings
from tapscan.workflow.write_report import write_report
from tests.register import built
from tests.register.test_lists_agree import EXAMINED, agree, page_says, put_right, scanned
from tests.register.test_mending import with_comparison
from tests.report.sheets import indication, screening, strike

each = pytest.mark.parametrize
HEARD = Heard({"S1": "bare", "S2": "bare"})
FOUND = PastScan(
    "B1/2026-03-01",
    "2026-03-01",
    "relevant indication",
    (indication(rule="buzz"),),
    part_named=True,
    heard=HEARD,
)
QUIET = PastScan("B1/2026-04-01", "2026-04-01", "no relevant indication", (), heard=HEARD)


# what silence may close


@each("played", [False, True])
@each(("not_run", "closed"), [((), True), (("dead-place",), True), (("buzz",), False)])
def test_a_scan_whose_checks_could_not_look_for_it_closes_nothing(played, not_run, closed):
    said = "inconclusive" if played else QUIET.disposition
    quiet = replace(QUIET, not_run=not_run, played=played, disposition=said)
    assert (still_open([replace(FOUND, played=played), quiet, quiet]) == ()) is closed


@each(("other", "closed"), [((), True), ((indication(rule="buzz"),), True), ((indication(rule="dead-place"),), False)])
def test_a_part_that_is_named_for_another_finding_closes_nothing(other, closed):
    later = replace(FOUND, name="B1/2026-03-02", relevant=other)
    rules = {o.rule for o in still_open([replace(FOUND, part_named=False), later, QUIET, QUIET])}
    assert ("buzz" not in rules) is closed


@each(
    ("checklist", "open_still"),
    [((), False), ((Finding(IN_IRON, "seen"),), False), ((Finding("repair", "seen"),), True)],
)
def test_what_explains_something_else_that_was_seen_does_not_explain_a_line_in_the_iron(
    register, checklist, open_still
):
    scanned(register, "2026-03-14", checklist=(Finding(IN_IRON, "seen", "strut 2"),))
    later = scanned(register, "2026-04-01", checklist=checklist)
    add_outcome(register, later.name, Outcome(SEEN + "a factory pin", *EXAMINED, dt.date(2026, 4, 2)))
    assert (EYE_RULE in {o.rule for o in open_findings(register, "B12")}) is open_still
    agree(register)


def test_whoever_notes_what_it_was_is_told_what_that_closes(register):
    """It may close what was seen on an earlier scan."""
    first = scanned(register, "2026-03-14", checklist=(Finding(IN_IRON, "seen", "strut 2"),))
    later = scanned(register, "2026-04-01")
    (seen,) = open_findings(register, "B12")
    noted = note_outcome(register, later.name, "seen", Outcome("rust", *EXAMINED, dt.date(2026, 4, 2)))
    assert first.name in noted.closed and seen.sentence in noted.closed and not open_findings(register, "B12")
    assert note_outcome(register, later.name, "clean", Outcome("rust", *EXAMINED, dt.date(2026, 4, 3))).closed == ""


def closed_by_two(register):
    found = scanned(register, "2026-03-14", found=True)
    add_outcome(register, found.name, Outcome(PART + "hook", *EXAMINED, found.date))
    quiet = scanned(register, "2026-04-01"), scanned(register, "2026-04-02")
    assert not open_findings(register, "B12")
    return quiet


@each("which", [0, 1])
def test_a_scan_that_turns_out_to_be_of_a_strung_plate_opens_it_again_on_its_own_page_too(register, which):
    entry = put_right(register, closed_by_two(register)[which], "strung")
    assert page_says(register, entry).headline == NO_ANSWER_OPEN
    agree(register)


def test_so_does_one_of_a_day_on_which_a_visit_found_the_plate_in_its_piano(register):
    _, last = closed_by_two(register)
    keep_visit(register, Visit("B12", last.date, state="strung"))
    assert open_findings(register, "B12") and page_says(register, last).headline == OPEN
    agree(register)


def test_a_part_of_the_places_is_no_silent_scan():
    scan = replace(screening().scan, strikes=tuple(strike(i, f"P{i}") for i in range(10)), part_of=20)
    opened = (OpenFinding("B1/2026-03-01", "2026-03-01", "change-since-baseline", "Some tones fell."),)
    told = dispose(scan, (), [], Settings(), opened)
    assert (told.disposition, told.headline) == ("inconclusive", NO_ANSWER_OPEN) and held(told.steps)


# another reading of the same taps


def read_again(register, entry, *, run: bool):
    """Silent; whether the check that had found something was made."""
    was = load_screening(register, entry.current.id)
    not_run = () if run else (RuleNotRun(was.indications[0].rule, "the plate is in the piano"),)
    now = conclude(replace(was, indications=(), rules_not_run=not_run), Settings())
    return was.indications[0], add_screening(register, entry.name, built.made(now))


def test_a_finding_whose_check_is_left_out_when_the_taps_are_read_anew_is_still_open(register):
    found, entry = read_again(register, scanned(register, "2026-03-14", found=True), run=False)
    (only,) = open_findings(register, "B12")
    assert (only.scan, only.sentence) == (entry.name, found.sentence)
    assert page_says(register, entry).headline in (OPEN, NO_ANSWER_OPEN) and held(
        of_lines(page_says(register, entry).next_steps)
    )
    agree(register)


@each("run", [True, False])
def test_what_an_earlier_reading_had_found_is_told(register, run):
    found, entry = read_again(register, scanned(register, "2026-03-14", found=True), run=run)
    assert bool(open_findings(register, "B12")) is not run
    assert any(found.sentence in n for n in notices(register, entry, load_screening(register, entry.current.id)))
    agree(register)


# what is to be done


@each("number", [1, 2])
def test_a_reading_that_is_asked_for_by_its_number_gives_no_steps(register, tmp_path, number):
    _, entry = read_again(register, scanned(register, "2026-03-14", found=True), run=True)
    put_right(register, entry, "strung")
    read = reading_of(register, entry.name, number)
    assert read.screening.next_steps == () and EARLIER_READING in read.about.since
    page = write_report(register, entry.name, tmp_path / "r.html", number=number).read_text("utf-8")
    assert not any(step in page for step in load_screening(register, entry.screenings[number - 1].id).next_steps)


def test_a_scan_that_is_crossed_out_asks_for_nothing(register, tmp_path):
    entry = put_right(register, scanned(register, "2026-03-14", found=True), "strung")
    void_scan(register, entry.name, "wrong plate", dt.date(2026, 4, 2))
    told = page_says(register, entry := find_scan(register, entry.name))
    assert (told.disposition, told.next_steps) == ("inconclusive", ())
    assert 'id="next"' not in write_report(register, entry.name, tmp_path / "r.html").read_text("utf-8")


@each("visit", [True, False])
def test_a_suspected_plate_that_went_into_its_piano_since_is_left_as_it_is_by_the_old_scans_page(register, visit):
    entry = scanned(register, "2026-03-14", found=True)
    assert STOP.line not in page_says(register, entry).next_steps
    if visit:
        keep_visit(register, Visit("B12", dt.date(2026, 8, 1), state="strung", looks=(Look("struts", "nothing"),)))
    else:
        scanned(register, "2026-08-01", state="strung")
    told = page_says(register, entry)
    assert (
        told.headline == LOOK
        and of_lines(told.next_steps)[0] is STOP
        and not any("tap the same" in s for s in told.next_steps)
    )
    assert any("by that" in n for n in notices(register, entry, load_screening(register, entry.current.id)))
    agree(register)


# names


def test_a_plate_that_is_called_otherwise_was_still_compared_with_its_own_scans(register):
    first = scanned(register, "2026-03-14")
    later = with_comparison(register, "2026-06-01", [first.name])
    edit_plate(register, "B12", name="Kettle 7")
    entry = find_scan(register, later.name.replace("B12", "Kettle 7"))
    assert not any("does not count" in n for n in notices(register, entry, load_screening(register, entry.current.id)))


# what an old scan is compared with


@each(("day", "seen"), [("2026-06-01", 0), ("2026-07-02", 2), ("2026-06-15", 1), ("2026-08-01", 3)])
def test_only_scans_made_before_it_tell_how_the_plate_repeats(register, monkeypatch, day, seen):
    """Read anew after two later scans without it, a simulated severed strut had become "no change"."""
    base, *others = (scanned(register, d) for d in ("2026-03-14", "2026-06-01", "2026-07-01", "2026-07-02"))
    told = []
    monkeypatch.setattr(
        history, "compare_scans", lambda later, earlier, settings, models, again, job: told.extend(again)
    )
    at = next((history.for_comparison(register, o) for o in others if o.date.isoformat() == day), None)
    at = at or replace(history.for_comparison(register, others[0]), name=f"B12/{day}", date=day)
    history.beside(register, at, [base], list_scans(register, "B12"), Settings())
    assert [a.name for a in told] == [o.name for o in others if o.name < f"B12/{day}"] and len(told) == seen
