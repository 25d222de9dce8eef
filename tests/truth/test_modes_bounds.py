"""The estimator against the Cramer-Rao bound of one damped mode in white noise, and against exact signals.

Bound: x[n] = A exp(-a n) cos(w n + p) + noise of variance s^2,
var(w) = var(a) >= 2 s^2 / A^2 * S0 / (S0 S2 - S1^2), S_k = sum n^k exp(-2 a n).
Derived from the Fisher matrix (Yao and Pandit, IEEE Trans. SP 43 (1995) 878, from memory).
"""

from functools import cache

import numpy as np
import pytest

from tapscan.records import Pole
from tapscan.settings import Settings
from tapscan.signal.fit.subspace import shared_poles
from tapscan.signal.plate.station_fit import station_poles
from tests.sounds import T60_NEPER

RATE = 8000
RUNS = {0.3: 120, 2.0: 100}


def bound(decay: float, rms: float, rate: float, length: int) -> float:
    """Standard error of the decay rate (1/s) at unit amplitude; that of the frequency is this / 2 pi."""
    n = np.arange(length)
    e = np.exp(-2 * decay / rate * n)
    s0, s1, s2 = e.sum(), (n * e).sum(), (n * n * e).sum()
    return float(np.sqrt(2 * rms**2 * s0 / (s0 * s2 - s1**2)) * rate)


@pytest.mark.parametrize(
    ("f_sd", "decay", "seconds", "d_sd"), [(9.18e-4, 10, 1.0, 5.78e-3), (2.60e-3, 20, 0.5, 1.63e-2)]
)
def test_the_bound_itself(f_sd, decay, seconds, d_sd):
    # Fisher matrix, CALC: fs 48 kHz, A = 1, noise 0.01. 0.5 %: three digits are given.
    found = bound(decay, 0.01, 48000, round(48000 * seconds))
    assert found == pytest.approx(d_sd, rel=5e-3)
    assert found / (2 * np.pi) == pytest.approx(f_sd, rel=5e-3)


@cache
def runs(snr_db: int, t60: float) -> np.ndarray:
    """(runs, 4): errors of frequency and decay over their bounds, and over the stated standard errors."""
    rng = np.random.default_rng(round(10 * snr_db + t60))
    decay, length = T60_NEPER / t60, round(1.2 * min(t60, 1.5) * RATE)
    rows = []
    for _ in range(RUNS[t60]):
        f = rng.uniform(300, 2500)
        t = np.arange(length) / RATE
        x = np.exp(-decay * t) * np.cos(2 * np.pi * f * t + rng.uniform(0, 2 * np.pi))
        rms = float(np.sqrt(np.mean(x[: RATE // 2] ** 2))) * 10 ** (-snr_db / 20)
        before = [rms * rng.standard_normal(RATE // 3)]
        found = station_poles([x + rms * rng.standard_normal(length)], before, RATE, Settings())
        assert len(found) == 1
        df, dd = found[0].frequency_hz - f, found[0].decay_rate_per_s - decay
        d_bound = bound(decay, rms, RATE, length)
        sds = found[0].frequency_sd_hz, found[0].decay_rate_sd_per_s
        rows.append((df / d_bound * 2 * np.pi, dd / d_bound, df / sds[0], dd / sds[1]))
    return np.array(rows)


CASES = [(snr, t60) for snr in (20, 40) for t60 in RUNS]


@pytest.mark.slow
@pytest.mark.parametrize(("snr_db", "t60"), CASES)
def test_errors_stay_near_the_bound(snr_db, t60):
    ratios = np.sqrt(np.mean(runs(snr_db, t60)[:, :2] ** 2, axis=0))
    print(f"{snr_db} dB, T60 {t60} s: frequency {ratios[0]:.3f}, decay {ratios[1]:.3f} of the bound")
    # 1.25: what is asked of a good estimator; scatter of the ratio itself 6.5 % (120 runs) to 7 % (100): a true ratio of 1.5 is missed once in 200.
    assert ratios.max() <= 1.25
    assert ratios.min() >= 0.75  # far under the bound would mean that the bound or the noise is wrong


@pytest.mark.slow
def test_stated_intervals_hold_the_truth():
    inside = np.concatenate([np.abs(runs(*case)[:, 2:]) < 1.96 for case in CASES])
    print(f"95 % intervals hold the truth in {100 * inside.mean():.1f} %")
    # 95 % of 880 draws scatter by 0.7 %; half of them hang together in pairs.
    assert 0.92 <= inside.mean() <= 0.98


def test_four_damped_cosines_without_noise():
    # dsp.stackexchange.com question 28512: 2205 samples/s, 250 samples. 1e-6 relative: rounding.
    n = np.arange(250) / 2205
    parts = [(80, 70, 0.4), (120, 50, 1.0), (250, 90, 0.89), (560, 80, 0.65)]
    x = sum(a * np.exp(-d * n) * np.cos(2 * np.pi * f * n) for f, d, a in parts)
    z = shared_poles(x[None, :].astype(complex), 1e-20, 8)
    log_z = np.log(z[z.imag > 0]) * 2205
    order = np.argsort(log_z.imag)
    assert log_z.imag[order] / (2 * np.pi) == pytest.approx([f for f, _, _ in parts], rel=1e-6)
    assert -log_z.real[order] == pytest.approx([d for _, d, _ in parts], rel=1e-6)


def pair(widths: float, f: float, t60: float, seed: int) -> tuple[list[Pole], float]:
    rng = np.random.default_rng(seed)
    decay = T60_NEPER / t60
    t = np.arange(round(1.2 * t60 * RATE)) / RATE
    gap = widths * decay / np.pi
    x = sum(np.exp(-decay * t) * np.cos(2 * np.pi * g * t + rng.uniform(0, 2 * np.pi)) for g in (f, f + gap))
    rms = float(np.sqrt(np.mean(x**2))) * 10**-1.5
    x = x + rms * rng.standard_normal(len(t))
    return station_poles([x], [rms * rng.standard_normal(RATE // 3)], RATE, Settings()), gap


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("f", [440.0, 1310.0, 2600.0])
def test_two_equal_modes_three_linewidths_apart_are_two(f, seed):
    found, gap = pair(3.0, f, 0.6, seed)
    # A tenth of the distance, Hz: ten standard errors at 30 dB.
    assert [p.frequency_hz for p in found] == pytest.approx([f, f + gap], abs=0.1 * gap)
