"""Days as the shop types them: its own form where it has said so, and nothing that may be read in two ways."""

import datetime as dt

import pytest

from tapscan.errors import BadRequest
from tapscan.report.shop import DATES, Shop
from tapscan.workflow.days import read_day
from tests.every import each

DAY = dt.date(2026, 4, 14)
READ = [
    ("2026-04-14", "year-month-day"),
    ("2026-04-14", "day.month.year"),
    ("2026-04-14", "month/day/year"),
    (" 14.4.2026 ", "day.month.year"),
    ("14.04.2026", "day.month.year"),
    ("4/14/2026", "month/day/year"),
]
REFUSED = [
    ("14.4.2026", "year-month-day"),
    ("14.4.2026", "month/day/year"),
    ("4/5/2026", "day.month.year"),
    ("4/5/2026", "year-month-day"),
    ("14.4.26", "day.month.year"),
    ("4.14.2026", "day.month.year"),
    ("14/4/2026", "month/day/year"),
    ("31.2.2026", "day.month.year"),
    ("2026-02-30", "year-month-day"),
    ("yesterday", "day.month.year"),
    ("", "day.month.year"),
]


@each(("text", "form"), READ)
def test_iso_and_the_shops_own_form_are_read(text, form):
    assert read_day(text, form) == DAY


@each(("text", "form"), REFUSED)
def test_anything_else_is_refused_with_a_day_that_would_work(text, form):
    with pytest.raises(BadRequest, match=r"write |no day of the calendar") as told:
        read_day(text, form)
    assert "\n" not in str(told.value)


def test_one_that_may_be_read_in_two_ways_says_so():
    for text, form in (("4/5/2026", "day.month.year"), ("4.5.2026", "year-month-day"), ("4.5.26", "day.month.year")):
        with pytest.raises(BadRequest, match="more than one way"):
            read_day(text, form)


def test_what_a_page_writes_can_be_typed():
    for form in DATES:
        assert read_day(Shop(dates=form).day(DAY), form) == DAY
