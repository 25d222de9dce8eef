"""Moments are kept in UTC and told by the clock here; days are those of the same clock."""

import time
from pathlib import Path

import pytest

from tapscan.clock import clock, with_zone
from tapscan.register.database import utc_now
from tapscan.workflow.typed import day
from tests.every import each
from tests.zones import EAST, WEST, in_zone

SUMMER = "CET-1CEST,M3.5.0,M10.5.0/3"
TOLD = [
    (EAST, "2026-03-14T22:30:59Z", "2026-03-15 11:30", "+13:00"),
    (WEST, "2026-03-14T01:05:00Z", "2026-03-13 14:05", "-11:00"),
    ("UTC0", "2026-03-14T01:05:00Z", "2026-03-14 01:05", "+00:00"),
    ("NPT-5:45", "2026-12-31T18:20:00Z", "2027-01-01 00:05", "+05:45"),
    (SUMMER, "2026-07-01T12:00:00Z", "2026-07-01 14:00", "+02:00"),
    (SUMMER, "2026-12-01T12:00:00Z", "2026-12-01 13:00", "+01:00"),
    (EAST, "2026-03-14T22:30:59", "2026-03-15 11:30", "+13:00"),
]

pytestmark = pytest.mark.skipif(not hasattr(time, "tzset"), reason="this system takes its zone from elsewhere")


@each(("rules", "utc", "here", "ahead"), TOLD)
def test_a_moment_is_told_by_the_clock_here(rules, utc, here, ahead):
    with in_zone(rules):
        assert clock(utc) == here
        assert with_zone(utc) == f"{here} {ahead}"


def test_what_is_no_time_is_shown_as_it_stands():
    assert (clock("soon"), with_zone("")) == ("soon", "")


@each("rules", [EAST, WEST, "UTC0"])
def test_a_day_that_nobody_types_is_that_of_the_same_clock(rules):
    with in_zone(rules):
        before, today, after = clock(utc_now())[:10], day(None, "", Path()), clock(utc_now())[:10]
    assert today.isoformat() in (before, after)
