"""Headline, summary and steps: what a reader of these alone must not miss."""

from dataclasses import replace

import pytest

from tapscan.records import Scan
from tapscan.screening.disposition import LOOK, NOTHING, STANDS, dispose
from tests.report.sheets import indication, screening

SCAN = screening().scan


def said(*indications, scan: Scan = SCAN):
    return dispose(scan, indications, [])


def test_an_earlier_finding_that_still_stands_is_in_headline_summary_and_steps():
    """A reader took "nothing found" for good news on a plate whose baseline had a relevant indication already."""
    old = indication(status="unchanged")
    outcome = said(old)
    assert outcome.disposition == "no relevant indication", "the contract: it does not raise the disposition"
    assert outcome.headline == STANDS != NOTHING
    assert old.sentence in outcome.summary
    assert "earlier finding" in outcome.next_steps[0] and "qualified person" in outcome.next_steps[0]


def test_beside_a_new_finding_the_earlier_one_is_named():
    outcome = said(indication(), indication(status="unchanged"), indication(status="unchanged"))
    assert outcome.headline == LOOK
    assert "2 earlier findings of the baseline still stand" in outcome.summary


def test_a_test_to_be_repeated_does_not_hide_it():
    clipped = replace(SCAN, strikes=tuple(replace(s, faults=("clipped",)) for s in SCAN.strikes))
    outcome = said(indication(status="unchanged"), scan=clipped)
    assert outcome.disposition == "inconclusive"
    assert "1 earlier finding of the baseline still stands" in outcome.summary
    assert "earlier finding" in outcome.next_steps[-1]


@pytest.mark.parametrize("interpretation", ["nonrelevant", "false"])
def test_what_is_not_relevant_changes_no_headline(interpretation):
    assert said(indication(status="unchanged", interpretation=interpretation)).headline == NOTHING
