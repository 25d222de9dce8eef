"""What the eye saw, and where the plate is, is not forgotten by what comes after: a second note, another thing explained, a scan crossed out, a day of which nothing is told."""

import datetime as dt

import pytest
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.register.corrections import restore_scan, void_scan
from tapscan.register.entries import CLEAN, IN_IRON, PART, SEEN, Finding, Outcome
from tapscan.register.on_record import plate_on_record
from tapscan.register.results import load_screening
from tapscan.register.scans import add_outcome, edit_scan
from tapscan.register.visit_entries import Look, Visit
from tapscan.register.visits import add_look_outcome, edit_visit, find_visit, keep_visit
from tapscan.screening.disposition import NOTHING
from tapscan.screening.next_steps import STOP, may_tap, of_lines
from tapscan.screening.open_findings import EYE_RULE
from tapscan.workflow.at_a_glance import lines
from tapscan.workflow.crossed_out import cross_out
from tapscan.workflow.notices import GO_BY_NOW, notices
from tapscan.workflow.outcome import may_be_explained, note_outcome
from tapscan.workflow.still_open import open_findings, state_now
from tapscan.workflow.visit import known_of
from tapscan.workflow.visit import note_outcome as note_of_visit
from tests.register.test_lists_agree import EXAMINED, agree, page_says, scanned
from tests.register.test_same_places import tapped

each = pytest.mark.parametrize
LINE, RUST = Finding(IN_IRON, "seen", "strut 2"), Finding("rust-line", "seen", "tail")
TOLD = Outcome("a pencil mark", *EXAMINED, dt.date(2026, 4, 2))


def seen(register) -> list[str]:
    return [o.sentence for o in open_findings(register, "B12") if o.rule == EYE_RULE]


def note_seen(register, entry, *findings, mistake=None):
    return edit_scan(register, entry.name, lambda e: replace(e, checklist=findings), mistake)


# what an examination explains


def test_of_several_things_the_one_is_explained_that_is_named(register):
    entry = scanned(register, "2026-03-14", state="strung", checklist=(LINE, RUST))
    with pytest.raises(BadRequest, match=rf"strut 2.*--of {IN_IRON}.*tail.*--of rust-line"):
        note_outcome(register, entry.name, "seen", TOLD)
    assert set(may_be_explained(register, entry)) == {IN_IRON, "rust-line"}
    noted = note_outcome(register, entry.name, "seen", TOLD, "rust-line")
    assert "tail" in noted.found and list(may_be_explained(register, noted.entry)) == [IN_IRON]
    later = scanned(register, "2026-04-01", state="strung")
    assert "strut 2" in seen(register)[0] and "tail" not in seen(register)[0]
    assert STOP.line in page_says(register, later).next_steps
    agree(register)
    assert note_outcome(register, entry.name, "seen", TOLD).closed and seen(register) == []
    agree(register)


def test_what_is_noted_after_the_explanation_is_not_explained_by_it(register):
    entry = scanned(register, "2026-03-14", checklist=(LINE,))
    note_outcome(register, entry.name, "seen", TOLD)
    assert seen(register) == []
    note_seen(register, entry, replace(LINE, note="treble corner, 4 cm"))
    (said,) = seen(register)
    assert "strut 2" in said and "4 cm" in said
    agree(register)


def test_what_was_explained_is_no_examination_of_the_rest_and_closes_nothing_of_it(register):
    entry = scanned(register, "2026-03-14", checklist=(LINE, RUST))
    noted = note_outcome(register, entry.name, "seen", TOLD, "rust-line")
    (left,) = open_findings(register, "B12")
    assert left.outcomes == () and noted.closed == "" and "look" in lines(register)[0].kinds
    assert note_outcome(register, entry.name, "seen", TOLD).closed


def test_what_may_be_no_crack_is_explained_by_its_name_too(register):
    entry = scanned(register, "2026-03-14", checklist=(Finding("repair", "seen"), Finding("missing-screws", "seen")))
    with pytest.raises(BadRequest, match=r"--of repair.*--of missing-screws"):
        note_outcome(register, entry.name, "seen", TOLD)
    assert "screws" in note_outcome(register, entry.name, "seen", TOLD, "missing-screws").found


@each("item", ["repair", "nonsense"])
def test_what_was_not_seen_is_not_explained(register, item):
    entry = scanned(register, "2026-03-14", checklist=(LINE,))
    with pytest.raises(BadRequest, match="not noted as seen"):
        note_outcome(register, entry.name, "seen", TOLD, item)


def test_an_explanation_of_earlier_things_says_of_which(register):
    first = scanned(register, "2026-03-14", checklist=(LINE,))
    second, last = scanned(register, "2026-03-20", checklist=(RUST,)), scanned(register, "2026-04-01")
    with pytest.raises(BadRequest, match=rf"strut 2.* on {first.name}.*--explains"):
        note_outcome(register, last.name, "seen", TOLD)
    note_outcome(register, second.name, "seen", TOLD)
    assert note_outcome(register, last.name, "seen", TOLD).closed and seen(register) == []
    with pytest.raises(BadRequest, match="nothing that the eye saw is open"):
        note_outcome(register, last.name, "seen", TOLD)


def test_older_registers_do_not_say_which_and_explain_all_of_that_scan(register):
    entry = scanned(register, "2026-03-14", checklist=(LINE, RUST))
    add_outcome(register, entry.name, replace(TOLD, found=SEEN + "pencil"))
    assert seen(register) == [] and open_findings(register, "B12") == ()


def test_what_is_noted_on_a_visit_after_the_explanation_is_open(register):
    look = Look("struts", "note", (IN_IRON,), "2 cm")
    visit = keep_visit(register, Visit("B12", dt.date(2026, 4, 1), state="strung", looks=(look,)))
    kept, _ = note_of_visit(register, visit, "struts", "seen", TOLD)
    assert not kept.suspects and not known_of(register, kept).stop
    more = edit_visit(register, "B12", visit.date, lambda v: replace(v, looks=(replace(look, note="other side"),)))
    assert [one.note for one in more.suspects] == ["2 cm; other side"]
    assert known_of(register, more).stop


# what is noted twice


@each(("after", "kept"), [("bass", "strut 2; bass"), ("Strut 2, 5 cm", "Strut 2, 5 cm"), (None, "strut 2"), ("no strut 2", "strut 2; no strut 2"), ("strut", "strut 2; strut"), ("Strut 2", "Strut 2")])  # fmt: skip
def test_a_second_note_stands_beside_the_first(register, after, kept):
    entry = scanned(register, "2026-03-14", checklist=(LINE, Finding("missing-screws", "seen", "two")))
    now = note_seen(register, entry, replace(LINE, note=after), Finding("missing-screws", "seen", "three"))
    assert [f.note for f in now.checklist] == [kept, "three"] and now.taken_back == ()
    look = Look("struts", "note", (IN_IRON,), "strut 2")
    visit = keep_visit(register, Visit("B12", dt.date(2026, 4, 1), looks=(look,)))
    again = keep_visit(register, replace(visit, looks=(replace(look, note=after),)))
    assert [one.note for one in again.looks] == [kept] and again.taken_back == ()


def test_with_a_reason_the_first_is_taken_back_and_stays_on_record(register):
    entry = scanned(register, "2026-03-14", checklist=(LINE,))
    now = note_seen(register, entry, replace(LINE, note="strut 3"), mistake="misread")
    assert [f.note for f in now.checklist] == ["strut 3"] and "strut 2" in now.taken_back[0].what
    look = Look("struts", "note", (IN_IRON,), "strut 2")
    visit = keep_visit(register, Visit("B12", dt.date(2026, 4, 1), looks=(look,)))
    again = keep_visit(register, replace(visit, looks=(replace(look, note="strut 3"),)), mistake="misread")
    assert [one.note for one in again.looks] == ["strut 3"] and "strut 2" in again.taken_back[0].what


# a scan crossed out


def test_what_the_eye_saw_needs_no_taps(register):
    entry = scanned(register, "2026-03-14", found=True, state="strung", checklist=(LINE,))
    crossed, said = cross_out(register, entry.name, "a lorry went by", dt.date(2026, 4, 1))
    assert crossed.crossed_out and "No longer open" in said[0] and "One tone" in said[0] and "strut 2" in said[1]
    assert [o.rule for o in open_findings(register, "B12")] == [EYE_RULE] and "do not tap" in lines(register)[0].first
    later = scanned(register, "2026-04-01", state="strung")
    assert STOP.line in page_says(register, later).next_steps
    agree(register)
    note_outcome(register, entry.name, "seen", TOLD)
    assert (seen(register) == [] and lines(register)[0].first == "") or "do not tap" not in lines(register)[0].first
    agree(register)
    restore_scan(register, entry.name)
    assert [o.rule for o in open_findings(register, "B12")] == ["prominent ringing"]


def test_a_visit_stops_for_what_the_days_scan_saw(register):
    entry = scanned(register, DAY.isoformat(), state="strung", checklist=(LINE,))
    visit = keep_visit(register, Visit("B12", DAY, state="strung"))
    assert known_of(register, visit).stop
    cross_out(register, entry.name, "a lorry", DAY)
    assert known_of(register, visit).stop
    note_outcome(register, entry.name, "seen", TOLD)
    assert not known_of(register, visit).stop


def test_a_finding_that_another_scan_has_too_is_still_open(register):
    first, again = (scanned(register, day, found=True) for day in ("2026-03-14", "2026-03-20"))
    assert cross_out(register, again.name, "a lorry", DAY)[1] == []
    assert [o.scan for o in open_findings(register, "B12")] == [first.name]


def test_a_crossed_out_scan_without_anything_says_nothing(register):
    entry = scanned(register, "2026-03-14")
    assert cross_out(register, entry.name, "a lorry went by", dt.date(2026, 4, 1))[1] == []


# where the plate is

DAY = dt.date(2026, 4, 1)


def told_by(register, how: str) -> None:
    if how == "visit":
        keep_visit(register, Visit("B12", DAY, state="strung"))
        return
    entry = scanned(register, DAY.isoformat(), state="strung")
    if how == "crossed out":
        void_scan(register, entry.name, "a lorry", DAY)


@each("how", ["visit", "scan", "crossed out"])
@each("after", [None, "scan", "visit"])
def test_a_plate_that_went_into_its_piano_is_not_tapped_again_since_nobody_says_where_it_is(register, how, after):
    first = scanned(register, "2026-03-14", found=True)
    told_by(register, how)
    if after == "scan":
        scanned(register, "2026-05-01", state=None)
    if after == "visit":
        keep_visit(register, Visit("B12", dt.date(2026, 5, 1)))
    assert state_now(plate_on_record(register, "B12")) == "strung"
    steps = of_lines(page_says(register, first).next_steps)
    assert STOP in steps and not any("tap" in s.acts for s in steps)
    agree(register)
    scanned(register, "2026-06-01", state="stripped")
    assert state_now(plate_on_record(register, "B12")) == "stripped", "until somebody says so"
    assert STOP not in of_lines(page_says(register, first).next_steps)


def test_a_plate_out_of_it_may_have_gone_in_where_nobody_says(register):
    scanned(register, "2026-03-14")
    scanned(register, "2026-04-01", state=None)
    assert state_now(plate_on_record(register, "B12")) is None
    entry = scanned(register, "2026-05-01", state="stripped")
    void_scan(register, entry.name, "a lorry", DAY)
    assert state_now(plate_on_record(register, "B12")) is None, "what counts no more brings nobody to tap it"


def test_it_may_have_gone_in_on_the_day_of_the_scan(register):
    first = scanned(register, DAY.isoformat())
    told_by(register, "visit")
    assert all("strung" in s.states for s in of_lines(page_says(register, first).next_steps))
    agree(register)


def test_lists_know_where_a_flawed_plate_is_too(register):
    scanned(register, "2026-03-14", state="strung")
    add_outcome(register, scanned(register, "2026-04-01", state=None).name, replace(TOLD, found="crack"))
    assert "do not tap" in lines(register)[0].first and not lines(register)[0].first.startswith("If")
    agree(register)


def test_a_visits_note_that_was_examined_is_not_to_be_examined_again(register):
    look = Look("struts", "note", (IN_IRON,), "2 cm")
    visit = keep_visit(register, Visit("B12", dt.date(2026, 4, 1), state="stripped", looks=(look,)))
    add_look_outcome(register, visit, "struts", replace(TOLD, found=CLEAN + "the strut"))
    scanned(register, "2026-05-01")
    assert lines(register)[0].first and "examined" not in lines(register)[0].first
    agree(register)


@each("found", [False, True])
@each("part_of", [None, 20])
@each("how", ["visit", "crossed out"])
def test_no_step_of_an_old_scan_lifts_or_taps_a_plate_that_is_in_its_piano(register, how, part_of, found):
    silent = {"part_of": part_of, **({"strikes": ()} if part_of is None and not found else {})}
    first = tapped(register, "2026-03-14", "grand-short", silent=not found, **silent)
    assert may_tap(first.conditions.state)
    told_by(register, how)
    said = page_says(register, first)
    steps = of_lines(said.next_steps)
    assert len(steps) == len(said.next_steps) > 0, "how to tap better is no step"
    assert not any({"tap", "lift"} & set(s.acts) for s in steps) and all("strung" in s.states for s in steps)
    (line,) = lines(register)
    assert not line.kinds & {"repeat"} and ("do not tap" in line.first) is found
    agree(register)


# what came later


@each("later", ["visit", "scan", "flaw"])
def test_an_old_page_tells_what_came_later_and_its_steps_go_by_it(register, later):
    first = scanned(register, "2026-03-14")
    kept = page_says(register, first).next_steps
    scanned(register, "2026-03-20")
    assert page_says(register, first).next_steps == kept
    if later == "visit":
        look = Look("struts", "note", (IN_IRON,), "2 cm")
        keep_visit(register, Visit("B12", DAY, state="strung", looks=(look,)))
    elif later == "scan":
        scanned(register, DAY.isoformat(), found=True)
    else:
        add_outcome(register, scanned(register, DAY.isoformat()).name, replace(TOLD, found="crack"))
    said, told = page_says(register, first), notices(register, first, load_screening(register, first.current.id))
    assert said.headline == NOTHING and said.next_steps != kept and GO_BY_NOW in told
    assert any("2026-04-01" in t and "2 cm" in t for t in told) is (later == "visit")
    if later == "visit":
        assert STOP.line in said.next_steps
        note = replace(TOLD, found=SEEN + "lacquer")
        add_look_outcome(register, find_visit(register, f"B12/{DAY}"), "struts", note)
        assert GO_BY_NOW not in notices(register, first, load_screening(register, first.current.id))
    agree(register)


def test_a_part_named_with_an_earlier_scan_is_told_by_the_scan_that_closes_its_finding(register):
    first = tapped(register, "2026-03-14", "grand-short", silent=False)
    add_outcome(register, first.name, replace(TOLD, found=PART + "hook"))
    closed = {}
    for day in ("2026-04-03", "2026-04-04"):
        entry = tapped(register, day, "grand-short", silent=True)
        told = notices(register, entry, load_screening(register, entry.current.id))
        assert any(EXAMINED[1] in t and first.name in t and "hook" in t for t in told)
        closed[day] = any("is closed" in t for t in told)
    assert closed == {"2026-04-03": False, "2026-04-04": True}
    scanned(register, "2026-04-05", found=True)
    entry = tapped(register, "2026-04-06", "grand-short", silent=True)
    assert not any("is closed" in t for t in notices(register, entry, load_screening(register, entry.current.id)))
    void_scan(register, first.name, "a lorry", DAY)
    void_scan(register, "B12/2026-04-05", "a lorry", DAY)
    told = notices(register, entry, load_screening(register, entry.current.id))
    assert any("hook" in t for t in told) and not any("is closed" in t for t in told), "it does not count"
