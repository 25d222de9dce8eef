"""Which scans of a register stand beside each other around one job in the piano, where before and after are of one day."""

import datetime as dt

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.register.files import keep_bytes
from tapscan.register.scans import store_scan
from tapscan.settings import Settings
from tapscan.workflow.history import compare_stored
from tests.compared import COUNT, STRIPPED, scan
from tests.register import built

DAY = dt.date(2026, 3, 2)
STRUNG = replace(STRIPPED, state="strung")


def stored(register, days):
    """One scan a day told; the first two are the baseline, what comes after them has changed."""
    for n, day in enumerate(days):
        content = f"taps {n}".encode()
        plate = scan(-0.012 * (np.arange(COUNT) % 2) * (n > 1), seed=n + 1, scatter=3e-4, state="strung")
        result = replace(built.screening(("0" * 64,)), scan=plate, indications=())
        new = built.new_scan(date=day, conditions=STRUNG, baseline=n < 2)
        store_scan(register, "B12", new, built.made(result), [keep_bytes(register.folder, content, "S1_1.wav")], None)
    return register


@pytest.fixture
def four(register):
    """Two before the job, two after it."""
    return stored(register, [DAY] * 4)


def test_two_before_and_two_after_are_found_by_the_order_of_the_day(four):
    told = compare_stored(four, "B12", Settings())
    assert told.later == "B12/2026-03-02-4" and told.baselines == ("B12/2026-03-02-2", "B12/2026-03-02")
    assert told.twice and told.indications
    third = compare_stored(four, "B12", Settings(), "2026-03-02-3")
    assert third.twice and third.statistic == pytest.approx(told.statistic, abs=0.5)


def test_a_scan_before_the_job_is_never_taken_for_one_after_it(four):
    """Named by hand: of the day's other scans only those made after all that it is held against can be of the same visit."""
    alone = compare_stored(four, "B12", Settings(), against=["2026-03-02"])
    assert not alone.twice and alone.baselines == ("B12/2026-03-02",)
    second = compare_stored(four, "B12", Settings(), "2026-03-02-3", against=["2026-03-02", "2026-03-02-2"])
    assert second.twice and second.indications
    between = compare_stored(four, "B12", Settings(), "2026-03-02-2", against=["2026-03-02", "2026-03-02-3"])
    assert not between.twice


@pytest.mark.parametrize(
    ("days", "twice"),
    [((0, 0, 196, 196), True), ((0, 0, 196), False), ((0, 90, 196, 196), False), ((0, 0, 190, 196), False)],
)
def test_across_seasons_two_scans_of_either_visit_count_together(register, days, twice):
    """Of other days they are no visit."""
    told = compare_stored(stored(register, [DAY + dt.timedelta(n) for n in days]), "B12", Settings())
    assert told.around == "seasons" and told.twice is twice
    assert told.statistic_limit == (
        Settings().piano.season_twice_limit if twice else Settings().piano.season_limit_many
    )
    kept = "B12/2026-03-02-2" if days[1] == 0 else "B12/2026-05-31"
    assert told.baselines == ((kept, "B12/2026-03-02") if twice else (kept,))
