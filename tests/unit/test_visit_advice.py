"""After a visit: what may never be advised, in every state and with everything that may be found; and that each question follows from something."""

from itertools import product
from typing import get_args

import pytest
from msgspec.structs import replace

from tapscan.places import STATES
from tapscan.screening import next_steps
from tapscan.screening.next_steps import STEPS
from tapscan.screening.open_findings import EXAMINED
from tapscan.screening.rules import RULES
from tapscan.screening.step import NEVER, NEVER_TAPPED, OUT, TENSION, Act
from tapscan.screening.visit_advice import MOST_QUESTIONS, QUESTIONS, VISIT_STEPS, VisitKnown, advise, cautions
from tests.every import each
from tests.unit.test_next_steps import MAY_CARRY_STRINGS, dangerous

RULE_NAMES = ("", *(r.name for r in RULES), EXAMINED, "a-rule-of-tomorrow")
SIGNS = ((), ("repair",), ("loose-nose-bolts",), ("buzz",), ("other",))
KNOWN = [
    (f"{state}: {rule or 'no rule'}, eye {eye}, heard {heard}, {signs}", VisitKnown(
        state, eye=eye, rules=(rule,) if rule else (), earlier=bool(rule) and not heard, heard=heard, signs=frozenset(signs), looked=3 * heard, unseen=9,
    ), )
    for state, rule, eye, heard, signs in product((None, *STATES), RULE_NAMES, (False, True), (False, True), SIGNS)
]  # fmt: skip


@each(("name", "known"), KNOWN)
def test_no_step_and_no_question_asks_for_what_may_never_be_done_there(name, known):
    told, suspected = advise(known), known.eye or bool(known.rules)
    assert told.headline and told.lead and 1 <= len(told.questions) <= MOST_QUESTIONS
    tested = {"ask-seen", "crack-test", "hard-test", "call", "call-unstrung"} & {
        s.code for s in (*told.given, *told.questions)
    }
    if known.rules == (EXAMINED,) and not known.eye:
        assert not tested and any(s in next_steps.DECISIONS for s in told.given), (
            "what was examined is to be decided on"
        )
    for step in (*told.given, *told.questions):
        assert known.state in step.states and not step.acts & NEVER, step
        if known.state in MAY_CARRY_STRINGS:
            assert not step.acts & NEVER_TAPPED, step
            assert not (suspected or step not in STEPS) or dangerous(step.text) == [], step
    for text in (told.headline, told.lead):
        assert known.state not in MAY_CARRY_STRINGS or dangerous(text) == [], text
    if suspected and known.state in MAY_CARRY_STRINGS:
        assert next_steps.stopped(told.given) and "stop" in told.given[0].acts, "to stop comes first"
        acts = frozenset().union(*(s.acts for s in told.given))
        assert acts >= {"stop", "look", "photograph", "call"}
    assert suspected == next_steps.stopped(told.given) or known.state in OUT


@each(("name", "known"), KNOWN)
def test_somebody_qualified_is_called_wherever_the_plate_is_in_the_piano_or_suspected(name, known):
    told = advise(known)
    if known.eye or known.rules or known.state not in OUT:
        assert any("call" in s.acts for s in told.given)
        assert told.given[-1].code == "in-writing"


def test_the_list_of_ways_reaches_every_step_and_question():
    given = {s.code for _, k in KNOWN for r in (True, False) for s in advise(replace(k, recorded=r)).given}
    asked = {q.code for _, k in KNOWN for q in advise(k).questions}
    asked |= {q.code for q in advise(VisitKnown("stripped")).questions}
    assert {s.code for s in VISIT_STEPS} <= given and {q.code for q in QUESTIONS} == asked
    assert {a for s in VISIT_STEPS for a in s.acts} <= set(get_args(Act)) - NEVER
    assert all(q.acts == {"ask"} for q in QUESTIONS), "a question asks and does nothing"


@each("state", [*sorted(TENSION), None])
def test_the_cautions_of_a_strung_plate_are_the_four(state):
    told = " ".join(cautions(state)).lower()
    for words in ("plane of the strings", "near pins", "sign of movement", "qualified person only"):
        assert words in told
    assert len(cautions(state)) == 4


NOTHING = VisitKnown("strung", heard=True, looked=12, before=True)
FOLLOWS = [
    ("ask-seen", replace(NOTHING, eye=True), NOTHING),
    ("ask-this-repair", replace(NOTHING, signs=frozenset({"repair"})), NOTHING),
    ("ask-screws", replace(NOTHING, signs=frozenset({"missing-screws"})), NOTHING),
    ("ask-buzz", replace(NOTHING, rules=("buzz",)), NOTHING),
    ("ask-state", replace(NOTHING, state=None), NOTHING),
    ("ask-pitch", NOTHING, replace(NOTHING, state="stripped")),
    ("ask-repairs", NOTHING, replace(NOTHING, signs=frozenset({"repair"}))),
    ("ask-open", replace(NOTHING, unseen=1), NOTHING),
    ("ask-scans", replace(NOTHING, before=False), NOTHING),
]


@each(("code", "asked", "unasked"), FOLLOWS)
def test_each_question_follows_from_what_was_found_or_is_not_known(code, asked, unasked):
    assert code in [q.code for q in advise(asked).questions]
    assert code not in [q.code for q in advise(unasked).questions]


COMES_TO = [
    ("confirmed", VisitKnown("strung", eye=True, rules=(EXAMINED,))),
    ("eye", VisitKnown("strung", eye=True, rules=("buzz",))),
    ("rules", VisitKnown("strung", rules=("change-since-baseline", "buzz"))),
    ("buzz", VisitKnown("strung", rules=("buzz",))),
    ("no-answer", VisitKnown("strung", heard=True)),
    ("no-answer", VisitKnown("strung", looked=1)),
    ("not-examined", VisitKnown("strung")),
    ("not-examined", VisitKnown(None, signs=frozenset({"other"}))),
    ("scan", VisitKnown("stripped", heard=True, disposition="no relevant indication", headline="Nothing")),
    ("eye-only", VisitKnown("stripped", looked=4)),
]


@each(("code", "known"), COMES_TO)
def test_what_weighs_most_is_the_headline(code, known):
    assert advise(known).code == code


@each("state", ["strung", "stripped"])
def test_what_was_noted_is_not_called_nothing(state):
    """Loose bolts are no crack and no nothing."""
    known = VisitKnown(state, looked=12)
    assert advise(known).headline.startswith("Nothing was found")
    noted = advise(replace(known, signs=frozenset({"loose-nose-bolts"})))
    assert "othing was found" not in noted.headline + noted.lead and noted.code == advise(known).code


TAPS = [
    (replace(NOTHING, disposition="inconclusive"), "by the eye, and the taps gave no answer"),
    (replace(NOTHING, disposition="inconclusive", looked=0), "The taps gave no answer"),
    (replace(NOTHING, disposition="inconclusive", played=True), "by the eye and the keys, and the taps gave no answer"),
    (replace(NOTHING, heard=False, disposition="inconclusive"), "no tap could be judged"),
    (replace(NOTHING, heard=False), "no tap was made"),
    (VisitKnown("stripped", looked=4), "No tap was made"),
    (replace(NOTHING, state="stripped", disposition="no relevant indication"), "by the eye and the taps"),
]


@each(("known", "words"), TAPS)
def test_taps_without_an_answer_found_not_nothing_and_those_not_made_are_not_called_unjudged(known, words):
    told = advise(known)
    assert words in f"{told.headline}. {told.lead}"


@each("eye", [False, True])
def test_where_nothing_was_recorded_no_recording_is_to_be_screened_again(eye):
    codes = [{s.code for s in advise(VisitKnown(None, played=True, eye=eye, recorded=r)).given} for r in (True, False)]
    assert "tell-state" in codes[0] - codes[1] and "note-state" in codes[1] - codes[0]


@pytest.mark.parametrize("word", ["sound", "safe", "good", "defect", "clear of"])
def test_no_headline_gives_a_verdict(word):
    assert [a.headline for _, k in KNOWN if word in (a := advise(k)).headline.lower().split()] == []
