"""Capitals and blanks part no conditions; a tight day, and rises beside drops, in the comparison."""

import numpy as np

from tapscan.records import ScanConditions
from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.compare.condition_changes import changed_conditions
from tapscan.sensors import Sensor
from tapscan.settings.repeatability import Repeatability
from tapscan.settings.supports import Supports
from tests.compared import COUNT, SETTINGS, named, scan


def test_case_and_blanks_do_not_part_two_conditions():
    a = ScanConditions("stripped", "felt pads", sensor=Sensor("contact", place="tail"), fittings=("hook",))
    b = ScanConditions("stripped", " Felt  Pads", sensor=Sensor("contact", place="TAIL"), fittings=("Hook",))
    told = changed_conditions(b, [a], 8, SETTINGS)
    assert (told.refused, told.frequency_refused, told.loss_refused, told.support_factor) == (None, None, None, 1.0)


def softer(seed):
    """What pads a fifth softer do: some 55 ppm at 300 Hz, falling with frequency, drops more than rises."""
    rng = np.random.default_rng(seed)
    frequency = np.linspace(60, 1300, COUNT)
    return -np.abs(rng.normal(0, 55e-6, COUNT)) * (300 / frequency) ** 1.7


def test_a_tight_day_is_not_taken_for_what_the_plate_repeats_to():
    """Three scans of one day on chalked pads, then softer pads: called without the floor, silent with it."""
    called = {0.0: 0, 1.0: 0}
    for seed in range(12):
        base = [named(scan(scatter=2e-6, seed=100 * seed + k), f"2026-01-0{k + 1}") for k in range(3)]
        later = named(scan(softer(seed), scatter=2e-6, seed=100 * seed + 9), "2026-09-01")
        for level in called:
            guarded = SETTINGS.but(Repeatability, least_level=level, supports_left_three=0.0)  # which guards, too
            settings = guarded.but(Supports, most_ppm=0.0)  # and this
            called[level] += "C1" in [i.id for i in compare_scans(later, base, settings).indications]
    assert called[1.0] == 0
    assert called[0.0] >= 3


def test_where_more_tones_rose_than_fell_no_crack_is_spoken_of():
    """Chilled iron beside an earlier scan raised more tones than it lowered, and the headline said a crack does that."""
    change = np.zeros(COUNT)
    change[20:26] = -2e-3
    crack = compare_scans(named(scan(change, seed=61), "2026-09-01"), [named(scan(seed=60), "2026-01-01")], SETTINGS)
    change[27:45:2] = 2e-3
    both = compare_scans(named(scan(change, seed=61), "2026-09-01"), [named(scan(seed=60), "2026-01-01")], SETTINGS)
    said = [next(i.sentence for i in c.indications if i.id == "C1") for c in (crack, both)]
    assert ["more tones rose" in s for s in said] == [False, True]
    assert ["may be a crack" in s for s in said] == [True, False]
