"""Headline, summary and steps: what a reader of these alone must not miss."""

import pytest
from msgspec.structs import replace

from tapscan.records import Scan
from tapscan.screening.disposition import LOOK, NO_ANSWER_STANDS, NOTHING, REPEAT, STANDS, UNDECIDED, dispose
from tapscan.settings import Settings
from tests.report.sheets import indication, screening, strike
from tests.snapshots import same_as_before

SCAN = screening().scan


def said(*indications, scan: Scan = SCAN):
    return dispose(scan, indications, [], Settings())


def codes(outcome):
    return [s.code for s in outcome.steps]


def test_an_earlier_finding_that_still_stands_is_in_headline_summary_and_steps():
    """A reader took "nothing found" for good news on a plate whose baseline had a relevant indication already."""
    old = indication(status="unchanged")
    outcome = said(old)
    assert outcome.disposition == "no relevant indication", "the contract: it does not raise the disposition"
    assert outcome.headline == STANDS != NOTHING
    assert old.sentence in outcome.summary
    assert codes(outcome) == ["stop-unknown", "look", "tell-state", "ask", "call", "hard-test"]
    bare = said(old, scan=replace(SCAN, state="stripped"))
    assert codes(bare)[0] == "hold-bare" and "qualified person" in bare.next_steps[0] and "ask" in codes(bare)


def test_beside_a_new_finding_the_earlier_one_is_named():
    outcome = said(indication(), indication(status="unchanged"), indication(status="unchanged"))
    assert outcome.headline == LOOK
    assert "2 earlier findings" in outcome.summary
    same_as_before("summaries", outcome.summary, part="a new finding beside earlier ones")


def test_a_test_to_be_repeated_does_not_hide_it():
    clipped = replace(SCAN, strikes=tuple(replace(s, faults=("clipped",)) for s in SCAN.strikes))
    outcome = said(indication(status="unchanged"), scan=clipped)
    assert outcome.disposition == "inconclusive"
    assert "1 earlier finding " in outcome.summary
    same_as_before("summaries", outcome.summary, part="a test to be repeated beside an earlier finding")
    assert outcome.headline == NO_ANSWER_STANDS, "a headline that asks for taps may be read as advice"
    assert "repeat" not in codes(outcome), "the state is not known: it may be strung"
    bare = said(indication(status="unchanged"), scan=replace(clipped, state="stripped"))
    assert [c for c in codes(bare) if c in ("hold-bare", "repeat", "ask")] == ["hold-bare", "repeat", "ask"]


@pytest.mark.parametrize("interpretation", ["nonrelevant", "false"])
def test_what_is_not_relevant_changes_no_headline(interpretation):
    assert said(indication(status="unchanged", interpretation=interpretation)).headline == NOTHING


def tapped(good: int, places: int = 10, **changes: object) -> Scan:
    """One tap a place, all but `good` of them clipped."""
    strikes = tuple(strike(i, f"P{i}", faults=() if i < good else ("clipped",)) for i in range(places))
    return replace(SCAN, strikes=strikes, **changes)


@pytest.mark.parametrize(("good", "headline"), [(10, NOTHING), (6, NOTHING), (5, REPEAT), (1, REPEAT)])
def test_silence_of_the_rules_counts_only_where_most_places_were_heard(good, headline):
    """Ten clean taps of forty once read "nothing found in what was tested" (settings: heard_places_share)."""
    outcome = said(scan=tapped(good))
    assert outcome.headline == headline
    if headline == REPEAT:
        assert f"Only {good} of 10 places" in outcome.summary and "(clipped)" in outcome.summary
        assert "Turn the input down" in outcome.next_steps[0]
    else:
        assert f"{good} taps at {good} places" in outcome.summary


def test_too_few_places_do_not_hide_an_indication():
    assert said(indication(), scan=tapped(2)).headline == LOOK


def test_in_the_piano_nothing_raised_is_no_answer_and_strings_are_to_be_muted():
    strung = tapped(10, state="strung")
    assert said(scan=strung).headline == UNDECIDED
    assert "mute" not in codes(said(scan=strung))
    strings = indication(rule="string", interpretation="nonrelevant", status=None)
    assert said(strings, scan=strung).headline == UNDECIDED and "1 string " in said(strings, scan=strung).summary
    same_as_before("summaries", said(strings, scan=strung).summary, part="strings heard in the piano")
    assert codes(said(strings, scan=strung)) == ["eyes-in-piano", "mute", "call-for-bare"]
    assert said(scan=strung).disposition == "inconclusive"
