"""Pairing against the slow, obvious way; its shift, prices and the effect of amplitude patterns."""

from itertools import combinations, permutations

import numpy as np
import pytest

from tapscan.records import ModalAmplitude, Mode
from tapscan.screening.compare.pairing import (
    assign,
    coarse_shift,
    mode_table,
    pair_costs,
    pair_modes,
    robust_mean,
    shape_correlation,
)
from tapscan.settings import Settings
from tests.every import each

SETTINGS = Settings()
STATIONS = [f"S{k}" for k in range(8)]


def mode(name, frequency_hz, amplitudes_db, sd_hz=0.001):
    at = tuple(ModalAmplitude(s, float(d)) for s, d in zip(STATIONS, amplitudes_db, strict=True) if np.isfinite(d))
    nothing = (None, None, None, None, None, None, 0, 0, None, None)
    return Mode(name, float(frequency_hz), sd_hz, None, None, None, *nothing, "plate", at)


def plate(rng, count=40):
    """Frequencies as a plate has them, and unrelated amplitude patterns."""
    frequency = np.sort(rng.uniform(100, 1400, count))
    pattern = 20 * np.log10(np.abs(rng.standard_normal((count, len(STATIONS)))) + 0.02)
    return frequency, pattern


def _at(frequency, pattern):
    return [mode(f"M{i}", f, p) for i, (f, p) in enumerate(zip(frequency, pattern, strict=True))]


def table(frequency, pattern):
    return mode_table(_at(frequency, pattern), STATIONS)


def slowly(costs, price):
    """Least sum over every way to pair some of one side with some of the other."""
    n, m = costs.shape
    best = np.inf
    for k in range(min(n, m) + 1):
        for rows in combinations(range(n), k):
            for columns in permutations(range(m), k):
                total = sum(costs[r, c] for r, c in zip(rows, columns, strict=True)) + price * (n + m - 2 * k)
                best = min(best, total)
    return best


@each("seed", range(25))
def test_the_pairing_costs_no_more_than_the_best_of_all_pairings(seed):
    rng = np.random.default_rng(seed)
    costs = rng.exponential(6.0, (int(rng.integers(1, 5)), int(rng.integers(1, 5))))
    pairs = assign(costs, 5.0)
    assert len(set(pairs[:, 0])) == len(set(pairs[:, 1])) == len(pairs)
    found = costs[pairs[:, 0], pairs[:, 1]].sum() + 5.0 * (sum(costs.shape) - 2 * len(pairs))
    assert found == pytest.approx(slowly(costs, 5.0), abs=1e-9)


@each("seed", range(8))
def test_real_costs_agree_with_the_slow_way_too(seed):
    rng = np.random.default_rng(seed)
    frequency, pattern = plate(rng, 5)
    frequency = 300 + 3 * np.arange(5) + rng.uniform(0, 2, 5)  # as close as pairs get
    earlier = table(frequency, pattern)
    later = table((frequency * (1 - rng.exponential(2e-3, 5)))[:4], pattern[:4] + rng.normal(0, 1, (4, 8)))
    costs = pair_costs(earlier, later, np.full(5, 1e-4), 0.0, SETTINGS)
    pairs = assign(costs, SETTINGS.pairing.alone_cost)
    found = costs[pairs[:, 0], pairs[:, 1]].sum() + SETTINGS.pairing.alone_cost * (9 - 2 * len(pairs))
    assert found == pytest.approx(slowly(costs, SETTINGS.pairing.alone_cost), abs=1e-6)


def test_a_warmer_plate_is_paired_and_its_shift_found():
    rng = np.random.default_rng(1)
    frequency, pattern = plate(rng)
    shift = -0.0026  # 16 K
    noisy = frequency * np.exp(shift + 3e-5 * rng.standard_normal(len(frequency)))
    found = pair_modes(table(frequency, pattern), table(noisy, pattern), np.full(40, 3e-5), SETTINGS)
    assert [tuple(p) for p in found.pairs] == [(i, i) for i in range(40)]
    assert found.shift == pytest.approx(shift, abs=2e-5)  # 3e-5 / sqrt(40) times four


def test_the_coarse_shift_needs_no_pairs():
    rng = np.random.default_rng(2)
    frequency, pattern = plate(rng)
    for shift in (-0.009, -0.002, 0.0, 0.003):
        got = coarse_shift(table(frequency, pattern), table(frequency * np.exp(shift), pattern), SETTINGS)
        assert got == pytest.approx(shift, abs=6e-5)  # one and a half steps


def test_without_patterns_a_wide_shift_is_still_found_first():
    frequency = 200 * np.exp(0.012 * np.arange(80) + np.random.default_rng(9).uniform(0, 0.004, 80))
    nowhere = np.full((80, len(STATIONS)), np.nan)
    later = frequency * np.exp(-0.0095)  # most of the way to the next mode
    found = pair_modes(mode_table(_at(frequency, nowhere), []), mode_table(_at(later, nowhere), []),
                       np.full(80, 3e-5), SETTINGS)  # fmt: skip
    assert [tuple(p) for p in found.pairs] == [(i, i) for i in range(80)]


def test_patterns_decide_where_two_modes_have_crossed():
    rng = np.random.default_rng(3)
    frequency, pattern = plate(rng)
    frequency[10:12] = 500.0, 501.0
    frequency = np.sort(frequency)
    a, b = np.searchsorted(frequency, [500.0, 501.0])
    moved = frequency.copy()
    moved[b] = 499.0  # fell below its neighbour
    order = np.argsort(moved)
    found = pair_modes(table(frequency, pattern), table(moved[order], pattern[order]), np.full(40, 3e-5), SETTINGS)
    partner = dict(map(tuple, found.pairs))
    assert order[partner[b]] == b
    assert order[partner[a]] == a


def test_a_mode_without_partner_stays_alone():
    rng = np.random.default_rng(4)
    frequency, pattern = plate(rng)
    keep = np.arange(40) != 17
    found = pair_modes(table(frequency, pattern), table(frequency[keep], pattern[keep]), np.full(40, 3e-5), SETTINGS)
    assert found.lone(40, 0) == [17]
    assert found.lone(39, 1) == []


def test_a_rise_costs_more_than_the_same_fall():
    rng = np.random.default_rng(5)
    frequency, pattern = plate(rng, 1)
    one = table(frequency, pattern)
    fall, rise = (table(frequency * np.exp(d), pattern) for d in (-0.004, 0.004))
    cost = [pair_costs(one, other, np.full(1, 3e-5), 0.0, SETTINGS)[0, 0] for other in (fall, rise)]
    assert cost[1] > cost[0] + 0.5


def test_likeness_is_one_for_the_same_and_two_over_pi_for_strangers():
    rng = np.random.default_rng(6)
    stations = [f"S{k}" for k in range(400)]
    deflection = np.abs(rng.standard_normal((2, 400)))
    rows = [
        Mode(f"M{i}", 100.0 + i, 0.1, *[None] * 9, 0, 0, None, None, "plate",
             tuple(ModalAmplitude(s, float(20 * np.log10(d))) for s, d in zip(stations, row, strict=True)))
        for i, row in enumerate(deflection)
    ]  # fmt: skip
    alike = shape_correlation(mode_table(rows, stations), mode_table(rows, stations))
    assert np.diag(alike) == pytest.approx([1, 1])
    assert alike[0, 1] == pytest.approx(2 / np.pi, abs=0.08)  # three sd at 400 stations


def test_nothing_to_pair():
    empty = mode_table([], STATIONS)
    full = table(*plate(np.random.default_rng(7), 3))
    assert len(pair_modes(empty, full, np.empty(0), SETTINGS).pairs) == 0
    assert len(pair_modes(full, empty, np.full(3, 1e-4), SETTINGS).pairs) == 0


def test_the_robust_mean_forgets_a_third_of_wild_values():
    rng = np.random.default_rng(8)
    values = 1e-3 + 1e-5 * rng.standard_normal(60)
    values[:20] -= rng.exponential(5e-3, 20) + 1e-3
    assert robust_mean(values, np.full(60, 1e-5)) == pytest.approx(1e-3, abs=1e-5)
