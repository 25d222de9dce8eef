"""Supports that moved between two scans, and two tones alone, leave a drop open; a large crack is a finding all the same."""

import numpy as np
import pytest

from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.compare.moved_supports import FEW, SPRING_POWER, beyond_supports, held_to_last
from tapscan.screening.compare.undecided import DROPS_HELD, LOSSES_HELD
from tests.compared import BASE, COUNT, SETTINGS, crack, drawn, named, scan, words_held
from tests.every import each

FREQUENCY_HZ, _ = drawn()
LOW = SETTINGS.supports.below_hz > FREQUENCY_HZ
EVERY = np.ones(COUNT, dtype=bool)
SPRINGS = (100.0 / FREQUENCY_HZ) ** SPRING_POWER
SOFTER = -6e-3 * SPRINGS * np.random.default_rng(3).uniform(0.3, 2.0, COUNT)
SD = 2e-5 * np.ones(COUNT)
CAP = 1e-6 * SETTINGS.supports.most_ppm


def beside(change, baseline=BASE):
    return compare_scans(named(scan(change, seed=60), "2026-05-03"), baseline, SETTINGS)


@each("sign", [1, -1])
def test_a_plate_that_lies_otherwise_is_left_open(sign):
    """Springs act by the inverse square of the frequency; the sign of most does not matter, a few that fall among risen ones least of all."""
    change = sign * SOFTER
    change[np.nonzero(LOW)[0][::4]] *= sign
    found = beside(change)
    assert found.indications == () and found.good_news is None
    assert DROPS_HELD["supports"] in found.undecided


def test_a_plate_that_lies_otherwise_is_told_so():
    words_held(beside(SOFTER), "low tones moved")
    words_held(damped(0.6 * SPRINGS * np.random.default_rng(6).uniform(0.5, 1.5, COUNT)), "low tones damped")


def test_two_tones_alone_are_left_open_and_three_are_a_finding():
    two, three = np.zeros(COUNT), np.zeros(COUNT)
    two[[31, 44]], three[[31, 44, 50]] = -3e-3, -3e-3
    alone, several = beside(two), beside(three)
    assert alone.indications == () and DROPS_HELD["few tones"] in alone.undecided
    assert alone.statistic <= alone.statistic_limit
    assert all(not p.fell for p in alone.pairs), "what is no finding names no tone"
    assert [i.id for i in several.indications] == ["C1"] and several.undecided is None
    words_held(alone, "two tones alone")


@each("baseline", [BASE[:1], BASE])
def test_a_crack_that_moves_most_tones_is_a_finding(baseline):
    """A severed strut moves low tones further than supports do, and high ones as well."""
    change = -0.02 * np.random.default_rng(4).uniform(0, 1, COUNT) * (np.arange(COUNT) % 3 > 0)
    assert "C1" in [i.id for i in beside(change, baseline).indications]
    assert "C1" in [i.id for i in beside(crack(2e-2), baseline).indications]


def test_nothing_is_laid_to_supports_that_the_scatter_explains():
    value = SD * np.random.default_rng(5).uniform(-0.6, 0.6, COUNT)
    value[31] = -1e-3
    assert beyond_supports(value, SD, FREQUENCY_HZ, EVERY, CAP, SETTINGS) == pytest.approx(value / SD)


def test_what_is_laid_to_supports_is_what_the_middle_low_tone_shows_and_never_more_than_they_do():
    def added(value):
        return np.sqrt((value / beyond_supports(value, SD, FREQUENCY_HZ, EVERY, CAP, SETTINGS)) ** 2 - SD**2)

    assert added(-6e-3 * SPRINGS) == pytest.approx(1.4826 * 6e-3 * SPRINGS, rel=0.02)
    assert added(-0.2 * SPRINGS) == pytest.approx(CAP * SPRINGS, rel=1e-3)


def test_too_few_low_tones_say_nothing_of_supports():
    few = EVERY.copy()
    few[np.nonzero(LOW)[0][FEW - 1 :]] = False
    assert beyond_supports(SOFTER, SD, FREQUENCY_HZ, few, CAP, SETTINGS) == pytest.approx(SOFTER / SD)


def test_no_tone_counts_for_more_than_twice_the_third():
    score = np.array([40.0, 9.0, 3.0, 1.0, -5.0])
    judged = np.ones(5, dtype=bool)
    assert held_to_last(score, judged, 3, SETTINGS).tolist() == [6.0, 6.0, 3.0, 1.0, -5.0]
    assert held_to_last(score, judged, 2, SETTINGS).tolist() == [18.0, 9.0, 3.0, 1.0, -5.0]
    assert held_to_last(-score, judged, 3, SETTINGS).max() <= 0.0
    assert held_to_last(score, judged & (score > 5), 3, SETTINGS).tolist() == score.tolist()


def damped(rise, baseline=BASE):
    return compare_scans(named(scan(loss=np.exp(rise), seed=60), "2026-05-03"), baseline, SETTINGS)


def test_low_tones_that_die_away_sooner_as_supports_make_them_are_left_open():
    found = damped(0.6 * SPRINGS * np.random.default_rng(6).uniform(0.5, 1.5, COUNT))
    assert found.indications == () and found.good_news is None
    assert LOSSES_HELD["supports"] in found.undecided


def test_a_few_tones_damped_alone_are_left_open_and_many_are_a_finding():
    few, many = np.zeros(COUNT), np.zeros(COUNT)
    few[[20, 31, 44]], many[10:50:4] = 1.2, 1.2
    alone, several = damped(few), damped(many)
    assert alone.indications == () and LOSSES_HELD["few tones"] in alone.undecided
    assert [i.id for i in several.indications] == ["C2"] and several.undecided is None
    words_held(alone, "a few tones damped alone")
