"""What may never be advised: every state, every way to a disposition, every step held against a list written here."""

import ast
import re
from itertools import product
from pathlib import Path
from typing import get_args

import pytest
from msgspec.structs import replace

from tapscan.places import IN_PIANO, STATES
from tapscan.records import Doubt, Fingerprint
from tapscan.records.comparison import Around
from tapscan.screening import next_steps
from tapscan.screening.disposition import PART_ONLY, REPEAT, compared_in_piano, dispose, doubtful, left_open
from tapscan.screening.limitations import limitations
from tapscan.screening.next_steps import CRACK_TEST, DECISIONS, HARD_TEST, MAKE_SURE, READ_AGAIN, STEPS
from tapscan.screening.open_findings import EXAMINED, OpenFinding
from tapscan.screening.plain_words import in_plain_words
from tapscan.screening.rules import RULES
from tapscan.screening.short_steps import DECIDED, SHORT, STOPS, in_short
from tapscan.screening.spared_checks import spared
from tapscan.screening.step import NEVER, NEVER_TAPPED, Act, Step
from tapscan.settings import Settings
from tests.every import each
from tests.report.sheets import indication, screening, strike

ROOT = Path(next_steps.__file__).parents[1]
MAY_CARRY_STRINGS = (None, "as-found", "in-piano-unstrung", "strung")  # not told, or in the piano
COATED = ("finished", "fitted-out")
NAMES = [r.name for r in RULES]
SCAN = replace(screening().scan, strikes=tuple(strike(i, f"P{i}") for i in range(10)))
SILENT = {
    "none": SCAN,
    "no tap": replace(SCAN, strikes=()),
    **{f: replace(SCAN, strikes=tuple(replace(s, faults=(f,)) for s in SCAN.strikes)) for f in ("clipped", "weak", "crowded", "not a tap", "cut short")},
    "few places": replace(SCAN, strikes=tuple(replace(s, faults=("clipped",)) if i else s for i, s in enumerate(SCAN.strikes))),
    "no mode": replace(SCAN, modes=()),
    "buzz": SCAN,
    "strings": SCAN,
    "part": replace(SCAN, part_of=20),
    "untold": replace(SCAN, room_left_in=True),
}  # fmt: skip
BESIDE = {"buzz": "buzz", "strings": "string"}
# a word that asks for what may break a plate, unless its clause says not to
DANGEROUS = re.compile(r"\b(tighten|tap(?!scan)|re-?tap|raise|tune|turn a|load|record(?!ing)|mute|fit|scan again|scan once|hammer|strike)\w*\b", re.I)  # fmt: skip
DENIED = re.compile(r"\b(not|nobody|no|never|nothing)\b", re.I)

FLAW = OpenFinding("B1/2026-03-01", "2026-03-01", EXAMINED, "An examination found: a crack.")


def ways():
    """(name, scan without state, indications, open findings, whether anything is suspected)"""
    earlier = {
        "": ((), ()),
        "standing": ((indication(status="unchanged", rule="long-decay"),), ()),
        "open": ((), (OpenFinding("B1/2026-03-01", "2026-03-01", "change-since-baseline", "Some tones fell."),)),
        "flaw": ((), (FLAW,)),
    }
    for word, (standing, opened) in earlier.items():
        for rule in (*NAMES, "a-rule-of-tomorrow"):
            yield f"{rule} {word}", SCAN, (indication(rule=rule, status="new"), *standing), opened, True
            yield f"standing {rule}", SCAN, (indication(rule=rule, status="unchanged"),), opened, True
        for why, scan in SILENT.items():
            heard = (indication(rule=BESIDE[why], interpretation="nonrelevant"),) if why in BESIDE else ()
            yield f"{why} {word}", scan, (*heard, *standing), opened, bool(standing or opened) or why == "buzz"


EVERY = [pytest.param(state, *way, id=f"{state}: {way[0]}") for state, way in product((None, *STATES), ways())]


DOUBT = Doubt("which plate", "B1/2026-03-01", "It sounds like another plate.", Fingerprint(0.0, 1.0, 1.0, 0.5))


def outcomes(state, scan, found, opened):
    """As it is, where it is doubtful which plate was tapped, and in the piano where two scans were compared."""
    outcome = dispose(replace(scan, state=state), found, [], Settings(), opened)
    compared = [compared_in_piano(outcome, "No change.", a, state) for a in get_args(Around) if state in IN_PIANO]
    return outcome, doubtful(outcome, [DOUBT]), *compared


def steps_of(state, scan, found, opened):
    return [s for outcome in outcomes(state, scan, found, opened) for s in outcome.steps]


def dangerous(text: str) -> list[str]:
    return [c for c in re.split(r"[.:;,]", text) if DANGEROUS.search(c) and not DENIED.search(c)]


@each(("state", "name", "scan", "found", "opened", "suspected"), EVERY)
def test_no_step_asks_for_what_may_never_be_done_there(state, name, scan, found, opened, suspected):
    for outcome in outcomes(state, scan, found, opened):
        safe(state, outcome, suspected)


def safe(state, outcome, suspected):
    steps = outcome.steps
    assert outcome.headline != REPEAT or not next_steps.stopped(steps), (
        "a headline that asks for taps may be read as advice"
    )
    assert steps and len({s.code for s in steps} - {"repeat"}) == len([s for s in steps if s.code != "repeat"])
    for step in steps:
        assert state in step.states and not step.acts & NEVER
        if suspected and state in MAY_CARRY_STRINGS:
            assert not step.acts & NEVER_TAPPED, step
            assert dangerous(step.text) == [], step
        if state in COATED:
            assert "no finish" not in step.text.lower(), step
    if suspected and state in MAY_CARRY_STRINGS:
        acts = frozenset().union(*(s.acts for s in steps))
        assert acts >= {"stop", "look", "photograph", "call"} and next_steps.stopped(steps)
        assert steps[0].acts >= {"stop"}, "the first thing to do"
    if suspected and state in ("as-found", "strung"):
        assert "stand clear of the plane of the strings" in steps[0].text.lower() and "owner" in steps[0].text
        assert any("decides whether the string tension" in s.text for s in steps)


@each(("state", "name", "scan", "found", "opened", "suspected"), EVERY)
def test_what_the_eye_saw_stops_the_work_where_the_plate_may_carry_strings(state, name, scan, found, opened, suspected):
    plain = dispose(replace(scan, state=state), found, [], Settings(), opened)
    seen = dispose(replace(scan, state=state), found, [], Settings(), opened, ("a line of rust",))
    if state not in MAY_CARRY_STRINGS:
        assert seen == plain
        return
    assert next_steps.stopped(seen.steps) and seen.headline != REPEAT and seen.disposition == plain.disposition
    assert next_steps.CRACK_TEST in seen.steps and len(set(seen.steps)) == len(seen.steps)
    for step in seen.steps:
        assert state in step.states and not step.acts & NEVER_TAPPED and dangerous(step.text) == [], step


def exchanged(scan):
    """The taps called hard were the softer ones; None without taps."""
    forces = [replace(s, force=("soft", "hard")[i % 2], station=f"P{i // 2}") for i, s in enumerate(scan.strikes)]
    return replace(scan, strikes=tuple(forces), force_step_db=-20.0) if forces else None


@each(("state", "name", "scan", "found", "opened", "suspected"), EVERY)
def test_exchanged_forces_are_mended_after_what_stops_and_before_all_else(state, name, scan, found, opened, suspected):
    if (turned := exchanged(scan)) is None:
        return
    right = replace(turned, force_step_db=20.0)
    for plain, outcome in zip(*(outcomes(state, s, found, opened) for s in (right, turned)), strict=True):
        steps = outcome.steps
        at = steps.index(READ_AGAIN)
        assert READ_AGAIN not in plain.steps and {*steps} == {*plain.steps, READ_AGAIN}
        assert all("stop" in s.acts or s is MAKE_SURE for s in steps[:at])
        assert not any("stop" in s.acts for s in steps[at + 1 :])
        safe(state, outcome, suspected)
        first = next((s for s in steps if s in SHORT), None)
        assert in_short(steps) == (SHORT[READ_AGAIN] if first is READ_AGAIN else in_short(plain.steps))


@each("state", [None, *STATES])
def test_a_small_change_left_open_leaves_them_there(state):
    for opened in ((), (OpenFinding("B1/2026-03-01", "2026-03-01", "change-since-baseline", "Some tones fell."),)):
        outcome = left_open(dispose(replace(exchanged(SCAN), state=state), (), [], Settings(), opened), "Why.", state)
        at = outcome.steps.index(READ_AGAIN)
        assert [s.code for s in outcome.steps[:at] if "stop" not in s.acts] == []
        assert not any("stop" in s.acts for s in outcome.steps[at:])


IN_FULL_ONLY = {*(s.code for s in DECISIONS),   # none of them stops the work: another of the same report does, or it may go on
    "tell-state", "steady", "look", "call", "call-unstrung", "crack-test", "hard-test", "ask", "keep", "keep-untold", "eyes", "mute",
    "eyes-in-piano", "hold-parts", "settle", "screws", "look-at-notes", "call-technician",
}  # fmt: skip


def test_every_step_has_a_short_form_or_deliberately_none():
    """A new one is given a line for lists, or is named here."""
    assert {s.code for s in STEPS if s not in SHORT} == IN_FULL_ONLY
    assert [s.code for s in STEPS if "stop" in s.acts and s not in SHORT] == []


@each(("state", "name", "scan", "found", "opened", "suspected"), EVERY)
def test_a_plate_that_is_not_simply_gone_on_with_has_a_short_line_in_lists(state, name, scan, found, opened, suspected):
    """That of the step which says so, whatever stands before it."""
    outcome, doubted, *compared = outcomes(state, scan, found, opened)
    seen = dispose(replace(scan, state=state), found, [], Settings(), opened, LINE, (), LINE)
    open_ = left_open(outcome, "Why.", state)
    for one, rests in [(outcome, suspected), (doubted, True), (seen, True), (open_, suspected), *((c, suspected) for c in compared)]:  # fmt: skip
        first = next((s for s in one.steps if "stop" in s.acts or s is MAKE_SURE), None)
        assert first is not None or not rests
        flaw_alone = set(DECISIONS) & set(one.steps) and not {CRACK_TEST, HARD_TEST} & set(one.steps)
        said = f"{STOPS[first]} {DECIDED}" if first in STOPS else first and first.text
        said = said if flaw_alone and first is not MAKE_SURE else SHORT.get(first)
        assert first is None or in_short(one.steps) == said
    assert doubted.steps[0] in SHORT


LINE = ("a line or crack in the iron (S4)",)


@each(("state", "name", "scan", "found", "opened", "suspected"), EVERY)
def test_a_line_in_the_iron_holds_the_work_in_every_state(state, name, scan, found, opened, suspected):
    plain = dispose(replace(scan, state=state), found, [], Settings(), opened)
    seen = dispose(replace(scan, state=state), found, [], Settings(), opened, LINE, (), LINE)
    assert next_steps.held(seen.steps) and next_steps.CRACK_TEST in seen.steps
    assert seen.disposition == plain.disposition and LINE[0] in seen.summary
    if found and suspected and name != "buzz ":
        assert seen.headline == plain.headline and set(plain.steps) <= set(seen.steps), "what was heard stays as well"
    safe(state, seen, True)


@each("state", [None, *(s for s in STATES if s not in IN_PIANO)])
def test_a_part_of_the_plate_holds_the_work_first_of_all(state):
    """Who stopped half-way has no answer; without a state nothing said that the work waits."""
    part = dispose(replace(SILENT["part"], state=state), (), [], Settings())
    assert part.headline.startswith(PART_ONLY) and part.disposition == "inconclusive"
    assert "stop" in part.steps[0].acts and "until all its places have been tapped" in part.steps[0].text
    assert "work on it waits" in in_plain_words(concluded_as(part)).means


def concluded_as(outcome):
    return screening(headline=outcome.headline, disposition=outcome.disposition, indications=())


def test_the_list_of_ways_is_whole():
    """All rules that there are, and every reason of an inconclusive scan."""
    given = {s.code for p in EVERY for s in steps_of(p.values[0], *p.values[2:5])}
    given |= {s.code for state in (None, *STATES) for s in next_steps.settling(state, ())}
    given |= {s.code for s in dispose(exchanged(SCAN), (), [], Settings()).steps}
    given |= {s.code for s in spared(dispose(SCAN, (), [], Settings())).steps}
    both = (True, False)
    given |= {
        s.code for t in (None, *STATES) for f in both for o in both for s in next_steps.of_notes(t, found=f, opened=o)
    }
    assert given == {s.code for s in STEPS} | {"repeat"}, "a step that no way leads to, or one that is not in STEPS"
    assert {a for s in STEPS for a in s.acts} <= set(get_args(Act)) - NEVER


@each(("act", "state"), product(get_args(Act), (None, *STATES)))
def test_a_step_that_asks_for_what_may_never_be_done_there_cannot_be_made(act, state):
    def made(unsuspected: bool) -> bool:
        try:
            return bool(
                Step("new", "Do it.", "workshop", frozenset({state, "stripped"}), frozenset({act, "look"}), unsuspected)
            )
        except ValueError as problem:
            assert str(problem) == f"step 'new' asks to {act} where that may never be done"
            return False

    assert made(unsuspected=False) is not (act in (NEVER_TAPPED if state in MAY_CARRY_STRINGS else NEVER))
    assert made(unsuspected=True) is (act not in NEVER)


@pytest.mark.parametrize("state", [None, *STATES])
def test_each_kind_of_finding_gets_the_examination_that_can_show_it(state):
    def tests(*rules):
        steps = steps_of(state, SCAN, tuple(indication(rule=r) for r in rules), ())
        return {a for s in steps for a in s.acts if a.startswith("test-")}

    assert tests("long-decay") == {"test-hardness"}, "penetrant and magnetic particles show no hard iron"
    assert tests("prominent-ringing") == {"test-hardness"}
    assert tests("local-ringing") == {"test-hardness", "test-cracks"}, "hard, or half parted (rules/local_ringing.py)"
    for rule in ("change-since-baseline", "force-dependence", "dead-place", "buzz", "a-rule-of-tomorrow"):
        assert tests(rule) == {"test-cracks"}, rule
    assert tests("long-decay", "buzz") == {"test-hardness", "test-cracks"}


def test_magnetic_particles_come_before_penetrant_and_with_their_cautions():
    crack = next_steps.CRACK_TEST.text
    assert crack.index("magnetic particles") < crack.index("penetrant")
    for caution in ("pores bleed", "smeared", "lead", "demagnetised", "come off"):
        assert caution in crack
    assert "no flaw by itself" in next_steps.HARD_TEST.text


def test_to_look_comes_before_what_follows_from_what_is_seen():
    text = next_steps.EYES_IN_PIANO.text
    assert text.index("First look, without touching") < text.index("If you see") < text.index("stop")


@each("state", [s for s in STATES if s not in IN_PIANO])
def test_out_of_the_piano_the_eye_comes_before_the_hammer_where_a_crack_may_be_meant(state):
    ways = [steps_of(state, SCAN, (indication(rule=r),), ()) for r in NAMES]
    for steps in (*ways, next_steps.buzzing(state), next_steps.settling(state, ())):
        codes = [s.code for s in steps]
        taps = [k for k, s in enumerate(steps) if "tap" in s.acts]
        assert taps and codes.index("look") < min(taps)


def test_who_sees_nothing_on_a_strung_plate_is_told_that_this_is_no_leave_to_tune():
    text = next_steps.EYES_IN_PIANO.text
    assert "does not say whether the piano may be tuned" in text
    assert [c for c in dangerous(text) if "may be tuned" in c] == [], "whoever reads it in haste"


def test_part_of_the_places_is_no_way_out():
    part = dispose(replace(SILENT["part"], state="stripped"), (), [], Settings())
    assert "tap all 20" in limitations(SILENT["part"], Settings())[0]
    assert "no answer" in part.steps[-1].text and "If that cannot be" not in part.steps[-1].text


def test_no_step_presumes_a_place_that_may_not_be_named_or_work_that_may_not_go_on():
    assert [s.code for s in STEPS if re.search("the named places|each place named", s.text)] == []
    assert "If the plate is worked on" in next_steps.KEEP.text


def test_what_is_looked_for_can_be_seen_where_hard_iron_is_meant():
    assert "A magnifier" in next_steps.HARD_TEST.text and "causes that can be seen" in next_steps.LOOK.text


def test_bare_iron_may_be_tapped_again_but_that_clears_nothing():
    steps = steps_of("stripped", SCAN, (indication(rule="force-dependence"),), ())
    again = next(s for s in steps if "tap" in s.acts)
    assert "not cleared" in again.text and "came from" not in again.text
    assert not next_steps.stopped(steps)


def spoken(path: Path) -> list[str]:
    """String constants of a module that are no docstrings, joined as the source joins them."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    docs = {id(n.body[0].value) for n in ast.walk(tree) if isinstance(n, ast.Module | ast.FunctionDef | ast.ClassDef) and n.body and isinstance(n.body[0], ast.Expr)}  # fmt: skip
    return [n.value for n in ast.walk(tree) if isinstance(n, ast.Constant) and isinstance(n.value, str) and id(n) not in docs]  # fmt: skip


SENTENCES = [*sorted((ROOT / "screening/rules").glob("*.py")), *sorted((ROOT / "screening/compare").glob("*.py"))]


@pytest.mark.parametrize("path", SENTENCES, ids=lambda p: p.name)
def test_findings_themselves_give_no_orders(path):
    """A finding's sentence is the same in all states, so what to do about it stands among the steps alone."""
    orders = re.compile(
        r"\b(tighten|(tap|scan|record)( it| them)? (again|twice|once more)|came from (those|them))", re.I
    )
    assert [s for s in spoken(path) if orders.search(s)] == []
