"""Once an examination has found a flaw, somebody qualified decides what is to be done; nobody is asked to look for it again."""

from msgspec.structs import replace

from tapscan.places import STATES
from tapscan.screening import next_steps
from tapscan.screening.disposition import dispose
from tapscan.screening.next_steps import CALL, CRACK_TEST, DECISIONS, HARD_TEST
from tapscan.screening.open_findings import OpenFinding
from tapscan.screening.short_steps import in_short
from tapscan.screening.step import OUT
from tapscan.settings import Settings
from tapscan.workflow.still_open import plate_steps
from tests.every import each
from tests.report.sheets import indication
from tests.unit.test_next_steps import FLAW, NAMES, SCAN


@each("state", [None, *STATES])
def test_where_an_examination_has_found_a_flaw_somebody_qualified_decides_and_nobody_is_asked_to_look_for_it(state):
    """In the scan that was examined, in a later one, and in lists; what nobody examined is still to be tested."""
    found, other = (indication(rule=NAMES[0]),), OpenFinding("B1/2026-02-01", "2026-02-01", "buzz", "It buzzed.")
    scan = replace(SCAN, state=state)
    own = dispose(scan, found, [], Settings(), (FLAW,), examined=True).steps
    later_scan = dispose(scan, (), [], Settings(), (replace(other, outcomes=("a crack",)), FLAW)).steps
    for steps in (own, later_scan, plate_steps((FLAW,), state)):
        assert [s for s in steps if s in DECISIONS] and not {CRACK_TEST, HARD_TEST, CALL} & set(steps)
        assert "examined" not in (in_short(steps) or "examined") and (state in OUT or next_steps.stopped(steps))
    for steps in (plate_steps((FLAW, other), state), dispose(scan, found, [], Settings(), (FLAW,)).steps):
        assert CRACK_TEST in steps and set(DECISIONS) & set(steps)
