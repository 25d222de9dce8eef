"""What a comparison out of the piano says that it cannot tell."""

import pytest
from msgspec.structs import replace

from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.compare.limits_told import BLIND, HEARD_LESS, ONE_DAY_ONLY, SINGLE
from tapscan.sensors import Sensor
from tests.compared import BASE, SETTINGS, STRIPPED, named, scan

ONE_DAY = [replace(b, date=BASE[0].date) for b in BASE]
GONE = (12, 18, 25, 36, 41, 47)
BY_EAR = replace(STRIPPED, sensor=Sensor("microphone"))


@pytest.mark.parametrize(("base", "said"), [(BASE, None), (BASE[:1], SINGLE), (ONE_DAY, ONE_DAY_ONLY)])
def test_a_baseline_of_one_scan_or_of_one_day_is_said_and_what_no_tap_hears_always(base, said):
    told = compare_scans(named(scan(seed=41), "2026-05-01"), base, SETTINGS).limitations
    assert told[-1] == BLIND and set(told) & {SINGLE, ONE_DAY_ONLY} == ({said} if said else set())


@pytest.mark.parametrize(("conditions", "said"), [(STRIPPED, True), (BY_EAR, False)])
def test_that_one_scan_heard_less_is_told_by_pickup_only(conditions, said):
    base = [replace(b, conditions=conditions) for b in BASE]
    told = compare_scans(named(scan(seed=46, drop=GONE), "2026-05-01", conditions), base, SETTINGS)
    assert (HEARD_LESS in told.limitations) == said
