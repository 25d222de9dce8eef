"""Tones through a plate's scans: followed only where these may be compared."""

import pytest
from msgspec.structs import replace

from tapscan.records import Sensor
from tapscan.settings import Settings
from tapscan.workflow.history import for_comparison, history_of, not_followed
from tapscan.workflow.standing import against_baseline
from tapscan.workflow.trend_for_report import course_of
from tapscan.workflow.trend_sentences import course_words
from tests.compared import BASE
from tests.register import built
from tests.register.test_mending import silent


@pytest.mark.parametrize(
    ("sensor", "state", "followed"),
    [("contact", "strung", True), ("microphone", "strung", False), ("microphone", "stripped", True)],
)
def test_tones_in_the_piano_are_followed_only_where_its_scans_may_be_compared(register, sensor, state, followed):
    made = replace(built.CONDITIONS, state=state, sensor=Sensor(sensor))
    *_, last = (silent(register, day, conditions=made) for day in ("2026-03-14", "2026-04-01", "2026-05-01"))
    history, course = history_of(register, "B12", Settings()), course_of(register, last)
    assert (course is not None, history.trend is not None, history.not_followed is None) == (followed,) * 3
    told = course_words(history)
    assert any(history.not_followed in line for line in told) if history.not_followed else len(told) > 1
    if course:
        assert ("screws" in course.shared_by) == (state == "strung")
        assert any(course.shared_by in line for line in told)


def test_tones_are_not_followed_where_a_room_cannot_be_told_from_the_plate():
    assert not_followed(BASE) is None
    assert not_followed([*BASE[:2], replace(BASE[2], scan=replace(BASE[2].scan, room_left_in=True))])


def test_such_a_scan_is_no_baseline_until_somebody_says_that_a_pickup_listened(register, monkeypatch):
    whole = built.screening
    monkeypatch.setattr(built, "screening", lambda f: replace(s := whole(f), scan=replace(s.scan, room_left_in=True)))
    for sensor, spoilt in (("microphone", True), ("contact", False)):
        made = replace(built.CONDITIONS, sensor=Sensor(sensor))
        entry = silent(register, "2026-04-01" if spoilt else "2026-04-02", conditions=made)
        assert bool(against_baseline(register, entry)) is spoilt
        assert bool(not_followed([for_comparison(register, entry)])) is spoilt
