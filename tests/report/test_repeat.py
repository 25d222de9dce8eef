"""The page asks for the test once more only where the steps above it do, and never beside a step that stops."""

import re

from msgspec.structs import replace

from tapscan.places import IN_PIANO
from tapscan.report.extras import Extras
from tapscan.report.page import render_page
from tapscan.screening.next_steps import READ_AGAIN, stopped
from tests.every import each
from tests.report.reading import part
from tests.report.sheets import screening
from tests.unit.test_next_steps import EVERY, outcomes

ASKED = re.compile(r"\brepeat (?:it|the test)", re.I)


def found(state, outcome, scan):
    """The section of what was found, as that outcome gives it."""
    s = screening(
        scan=replace(scan, state=state), indications=(), disposition=outcome.disposition,
        headline=outcome.headline, summary=outcome.summary, next_steps=outcome.next_steps, pictures=(),
    )  # fmt: skip
    return part(render_page(s, None, Extras()), "indications")


SILENT = [p for p in EVERY if not p.values[3]]


@each(("state", "name", "scan", "indications", "opened", "suspected"), SILENT)
def test_what_was_found_asks_for_no_tap_where_the_steps_ask_for_none(
    state, name, scan, indications, opened, suspected, drawn_once
):
    assert not indications
    for outcome in outcomes(state, scan, (), opened):
        told = found(state, outcome, scan)
        asked, taps = bool(ASKED.search(told)), any("tap" in s.acts for s in outcome.steps)
        if outcome.disposition != "inconclusive":
            assert not asked
            continue
        assert asked == (taps and state not in IN_PIANO and not stopped(outcome.steps)), outcome.headline
        assert "neither one way" in told


def test_a_scan_that_is_only_read_again_is_not_tapped_again(drawn_once):
    state, _, scan, *_ = SILENT[0].values
    outcome = replace(outcomes("stripped", scan, (), ())[0], disposition="inconclusive", steps=(READ_AGAIN,))
    assert state is None and not ASKED.search(found("stripped", outcome, scan))
