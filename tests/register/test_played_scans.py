"""A scan of played notes among scans by taps: it has no strike and no mode, and no list, rate or reference may take it for a tapped one."""

import csv
import datetime as dt
import hashlib

import pytest
from msgspec.structs import replace

from tapscan.places import IN_PIANO, STATES
from tapscan.records import Indication, PlayedNote, PlayedNotes, Recording, RuleNotRun, Scan, Screening
from tapscan.register.entries import PART, Outcome, Plate
from tapscan.register.files import keep_bytes
from tapscan.register.plates import add_plate
from tapscan.register.scans import add_outcome, store_scan
from tapscan.register.visit_entries import Visit
from tapscan.report.error_rates import how_sure, measured
from tapscan.report.extras import Extras
from tapscan.report.page import render_page
from tapscan.report.sections.reach import error_rates_section
from tapscan.screening.disposition import NO_ANSWER_OPEN, NOTHING, OPEN
from tapscan.screening.next_steps import STOP, STOP_UNKNOWN, STOP_UNSTRUNG, stopped
from tapscan.screening.open_findings import still_open
from tapscan.screening.past_scan import PastScan
from tapscan.screening.played_notes import NO_ANSWER, SILENT
from tapscan.screening.rules import NOTE_RULES, RULE_LIMITS, note_buzz, ringing_on
from tapscan.screening.visit_advice import VisitKnown, advise
from tapscan.settings import Settings, limits_by_part
from tapscan.workflow import identity
from tapscan.workflow.at_a_glance import lines
from tapscan.workflow.comparing import comparison_of
from tapscan.workflow.conclude import conclude
from tapscan.workflow.evidence import evidence_of
from tapscan.workflow.exports import export_csv
from tapscan.workflow.history import history_of
from tapscan.workflow.identity import _own, _repeated
from tapscan.workflow.pattern import references_of
from tapscan.workflow.reading import reading_of
from tapscan.workflow.still_open import open_findings
from tapscan.workflow.trend_for_report import course_of
from tapscan.workflow.typed_scan import first_typed
from tapscan.workflow.visit import known_of
from tests.every import each
from tests.register import built
from tests.register.conftest import put
from tests.snapshots import same_as_before

pytestmark = pytest.mark.usefixtures("drawn_once")

NOT_RUN = (RuleNotRun(ringing_on.NAME, "heard by microphone"), RuleNotRun(note_buzz.NAME, "a buzz could be listened for in 3 notes only"))  # fmt: skip
SHIPPED = limits_by_part(Settings(), RULE_LIMITS)


def note(number: int) -> PlayedNote:
    return PlayedNote(
        f"N{number}", "F1", 1.5 * number, "C4", 20.0, 0.0, -20.0, 0.4, 3.0, -50.0, listened_s=0.8,
    )  # fmt: skip


def heard(rule: str = "", content: bytes = b"notes", not_run=(), state="strung", keys: int = 12) -> Screening:
    """With one finding by `rule`, or without."""
    blows = (str(content),)
    notes = tuple(replace(note(k), level_db=-20.0 - built.blow(blows, k)) for k in range(keys))
    played = PlayedNotes(notes, (), (), (), (), 0.0)
    recording = Recording("F1", "notes.wav", hashlib.sha256(content).hexdigest(), 48000, 1, 0, 30.0)
    said = Indication("NR1", rule, "relevant", None, (), (), "After 9 of 12 notes it rings on.", (), ("a lamp",))
    alone = replace(built.screening(("ab" * 32,)), scan=Scan((recording,), (), (), state=state, played=played))
    return replace(alone, indications=(said,) if rule else (), rules_not_run=not_run, limits_sha256=SHIPPED)


def play(register, day: str, rule: str = "", **changes):
    """One stored scan of played notes."""
    result = conclude(heard(rule, day.encode()), Settings())
    new = built.new_scan(date=dt.date.fromisoformat(day), reading={"played": True}, **changes)
    return store_scan(register, "B12", new, built.made(result), [keep_bytes(register.folder, day.encode(), "n.wav")])


def past(day: str, rule: str = "", *, played: bool, named: bool = False, not_run=()) -> PastScan:
    said = heard(rule).indications
    disposition = "relevant indication" if rule else "inconclusive" if played else "no relevant indication"
    return PastScan(f"B12/{day}", day, disposition, said, ("lamp",) * named, named, (), played, not_run)


def of(*scans: PastScan) -> list[str]:
    return [o.rule for o in still_open(scans)]


def test_a_finding_of_notes_is_closed_by_notes_and_one_of_taps_by_taps():
    found = past("2026-01-01", ringing_on.NAME, played=True, named=True)
    silent = [past(f"2026-02-0{k}", played=True) for k in (1, 2)]
    tapped = [past(f"2026-03-0{k}", played=False) for k in (1, 2)]
    assert of(found, *silent) == [] and of(found, *tapped) == of(found, silent[0], *tapped) == [ringing_on.NAME]
    deaf = [replace(s, not_run=(ringing_on.NAME,)) for s in silent]
    assert of(found, *deaf) == [ringing_on.NAME], "by microphone nobody listened for it"
    crack = past("2026-01-01", "long decay", played=False, named=True)
    assert of(crack, *tapped) == of(crack, *tapped, *silent) == [] and of(crack, *silent) == ["long decay"]


def test_the_register_tells_what_a_scan_of_notes_could_hear(register):
    found = play(register, "2026-01-01", ringing_on.NAME, checklist=())
    add_outcome(register, found.name, Outcome(PART + "lamp", "taken apart", "A. Person", dt.date(2026, 1, 2)))
    play(register, "2026-02-01", checklist=())
    assert [o.rule for o in open_findings(register, "B12")] == [ringing_on.NAME]
    assert open_findings(register, "B12", now=heard()) == () != open_findings(register, "B12", now=heard(not_run=NOT_RUN))  # fmt: skip


@each("state", [None, *STATES])
def test_a_loose_part_that_notes_showed_makes_no_plate_suspected(state):
    opened = still_open([past("2026-01-01", note_buzz.NAME, played=True)])
    for known in (heard(), replace(built.screening(("ab" * 32,)), indications=())):
        told = conclude(replace(known, scan=replace(known.scan, state=state)), Settings(), opened)
        assert "9 of 12" in told.summary and "piano technician" in str(told.next_steps)
        assert not stops(told) and told.headline not in (NOTHING, SILENT)
    assert conclude(heard(state=state), Settings(), opened).headline == NO_ANSWER_OPEN
    of_plate = still_open([past("2026-01-01", "long decay", played=False)])
    told = conclude(heard(state=state), Settings(), of_plate)
    assert told.headline == NO_ANSWER_OPEN and stops(told) == (state is None or state in IN_PIANO)


def stops(told: Screening) -> bool:
    return told.next_steps[0] in {s.line for s in (STOP, STOP_UNSTRUNG, STOP_UNKNOWN)}


def test_a_silent_tap_scan_beside_an_open_note_says_so_and_is_up_to_date():
    opened = still_open([past("2026-01-01", ringing_on.NAME, played=True)])
    told = conclude(replace(built.screening(("ab" * 32,)), indications=()), Settings(), opened)
    assert told.headline == OPEN and told.disposition == "no relevant indication"
    assert not any("Put no" in s for s in told.next_steps)


def test_silence_names_only_the_checks_that_were_made():
    both = conclude(heard(), Settings())
    one = conclude(heard(not_run=NOT_RUN[:1]), Settings())
    none = conclude(heard(not_run=NOT_RUN), Settings())
    assert both.headline == one.headline == SILENT and none.headline == NO_ANSWER
    assert "12 notes" in both.summary and "damper in" in both.summary and "damper in" not in one.summary
    assert "3 notes only" in none.summary


def test_rates_and_reach_are_those_of_notes():
    found = conclude(heard(ringing_on.NAME), Settings())
    assert " of " in how_sure(found) and "no error rate" not in how_sure(found)
    buzz = measured()["notes"]["buzz_by_microphone"]["found"]
    told = how_sure(conclude(heard(note_buzz.NAME), Settings()))
    assert "By microphone: " in told and f"{buzz['spoke']} of {buzz['of']} with a buzz" in told
    assert "By microphone" not in how_sure(found)
    rows = error_rates_section(conclude(heard(), Settings()))
    assert [r[0] for r in rows] == [r.title for r in NOTE_RULES]


@each("beside", [Extras(), Extras(full=True), Extras(summary=True)])
@each("rule", ["", ringing_on.NAME])
def test_no_page_speaks_of_taps_that_nobody_made(beside, rule):
    page = render_page(conclude(heard(rule), Settings()), None, beside)
    text = page if isinstance(page, str) else str(page)
    for never in (
        "No tap was found",
        "0 taps",
        "the plate as a whole",
        "Tapped on",
        "How the taps",
        "about these taps",
        "repeat it as told",
        "Tap test of",
    ):
        assert never not in text, never
    assert "12 notes" in text


def test_lists_rates_and_references_leave_it_out(register):
    first, second = put(register, b"one", baseline=True), put(register, b"two", date=dt.date(2026, 4, 1))
    entry = play(register, "2026-09-01")
    add_outcome(register, entry.name, Outcome("crack", "penetrant", "A. Person", dt.date(2026, 9, 2)))
    assert evidence_of(register).examined == ()
    compared = comparison_of(register, "B12")
    assert compared.scans == (first.name, second.name) and compared.comparison.later == second.name
    assert course_of(register, entry) is None and course_of(register, second) is not None
    assert first_typed(register, "B12")["layout"] != ""
    assert [p.entry.name for p in history_of(register, "B12", Settings()).past][-1] == entry.name
    assert [e.name for e in _own(register, "B12", None)] == [first.name, second.name]
    assert entry.name not in [r.name for r in references_of(register, "parlour grand")]


def test_another_plates_newest_scan_by_taps_is_what_a_mistaken_one_is_held_against(register, monkeypatch):
    put(register, b"one")
    play(register, "2026-09-01")
    asked: list[str] = []
    monkeypatch.setattr(identity, "_beside", lambda _, entries, *__: asked.extend(e.name for e in entries) or [])
    add_plate(register, Plate("C7"))
    _repeated(register, "C7", Scan((), (), ()), Settings())
    assert asked == ["B12/2026-03-14"]


def test_the_list_of_plates_does_not_ask_to_repeat_what_never_answers(register):
    play(register, "2026-09-01", checklist=())
    assert lines(register)[0].glance.headline == SILENT and "repeat" not in lines(register)[0].kinds
    result = conclude(heard(content=b"x", not_run=NOT_RUN), Settings())
    new = built.new_scan(date=dt.date(2026, 10, 1), reading={"played": True}, checklist=())
    store_scan(register, "B12", new, built.made(result), [keep_bytes(register.folder, b"x", "n.wav")])
    assert "repeat" in lines(register)[0].kinds


def test_the_table_of_scans_tells_which_were_played(register, tmp_path):
    put(register)
    play(register, "2026-09-01")
    export_csv(register, tmp_path / "csv")
    with (tmp_path / "csv" / "scans.csv").open(encoding="utf-8-sig", newline="") as file:
        assert [row["played"] for row in csv.DictReader(file)] == ["no", "yes"]


def test_the_page_of_a_scan_shows_its_notes(register):
    entry = play(register, "2026-09-01", ringing_on.NAME)
    assert "notes" in [name for name, _, _ in reading_of(register, entry.name).sections]


def test_a_visit_with_a_tone_that_rings_on_stops_nobody_and_calls_somebody():
    told = advise(VisitKnown("strung", rings=True, looked=3))
    assert told.code == "rings" and not stopped(told.given) and told.given[-1].code == "in-writing"
    assert "call-technician" in [s.code for s in told.given] and "no sign of" in told.lead
    same_as_before("visit", f"{told.headline}\n{told.lead}", part="a tone that rings on")
    assert advise(VisitKnown("strung", rings=True, rules=("buzz",))).code == "buzz"
    assert advise(VisitKnown("strung", rings=True, eye=True)).code == "eye"


@each(("not_run", "code"), [((), SILENT), (NOT_RUN, NO_ANSWER)])
def test_a_visit_that_recorded_keys_alone_has_the_words_of_keys(register, not_run, code):
    """Nobody looked and nothing was tapped: that is no plate in which nothing was found."""
    result = conclude(heard(not_run=not_run), Settings())
    day = dt.date(2026, 2, 1 + len(not_run))
    new = built.new_scan(date=day, reading={"played": True}, checklist=())
    files = [keep_bytes(register.folder, b"notes", "n.wav")]
    store_scan(register, "B12", new, built.made(result), files, again=True)
    known = known_of(register, Visit("B12", day, state="strung"))
    assert (known.advice.code, known.advice.headline) == ("keys-only", code)
    assert "finding" not in known.nothing
    by_hand = advise(VisitKnown("strung", played=True, recorded=False))
    assert by_hand.code == "keys-only" and "found" not in f"{by_hand.headline} {by_hand.lead}"
    seen = advise(VisitKnown("strung", looked=3, notes=code, played=code == SILENT))
    assert ("and the keys" in seen.headline, "the notes gave no" in seen.headline) == (not not_run, bool(not_run))
    same_as_before("visit", f"{known.advice.headline}\n{known.advice.lead}", part=f"keys alone: {code}")
