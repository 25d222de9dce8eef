"""Conversions between the measures of decay: exact identities of a linear single mode."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapscan.signal.plate import decay

RATE_AT_Q_100 = math.pi * 1000 / 100

frequencies = st.floats(20, 20000)
rates = st.floats(0.01, 1000)


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        (RATE_AT_Q_100, 31.416),
        (decay.log_decrement(1000, RATE_AT_Q_100), 0.031416),
        (0.5 / decay.q_factor(1000, RATE_AT_Q_100), 0.005),
        (decay.t60_s(RATE_AT_Q_100), 0.21988),
        (decay.bandwidth_hz(RATE_AT_Q_100), 10.0),
        (decay.loss_factor(1000, RATE_AT_Q_100), 0.01),
    ],
    ids=["decay rate", "log decrement", "damping ratio", "T60", "bandwidth", "loss factor"],
)
def test_q_of_100_at_1_khz(found, expected):
    # Exact identities, CALC. 1e-4 relative: as many digits as the values are given with.
    assert found == pytest.approx(expected, rel=1e-4)


@given(frequencies, rates)
def test_level_falls_by_60_db_in_t60(f, rate):
    left = math.exp(-rate * decay.t60_s(rate))
    assert 20 * math.log10(left) == pytest.approx(-60, rel=1e-9)


@given(frequencies, rates)
def test_log_decrement_is_the_ratio_of_successive_amplitudes(f, rate):
    def envelope(t: float) -> float:
        return math.exp(-rate * t)

    assert decay.log_decrement(f, rate) == pytest.approx(math.log(envelope(0) / envelope(1 / f)), rel=1e-9)


@given(frequencies, st.floats(1e-4, 0.5))
def test_q_and_loss_factor_agree_with_the_damping_ratio(f_seen, ratio):
    # Textbook (from memory): decay rate = ratio w0, f seen = w0 sqrt(1 - ratio^2) / 2 pi, Q = 1 / (2 ratio).
    w0 = 2 * math.pi * f_seen / math.sqrt(1 - ratio**2)
    rate = ratio * w0
    assert decay.q_factor(f_seen, rate) == pytest.approx(1 / (2 * ratio), rel=1e-9)
    assert decay.loss_factor(f_seen, rate) == pytest.approx(2 * ratio, rel=1e-9)


@given(frequencies, rates)
def test_width_at_half_power(f, rate):
    # |1 / (rate + i w)|^2 has half its height at w = rate, so the full width is rate / pi Hz.
    half = decay.bandwidth_hz(rate) / 2
    height = 1 / abs(complex(rate, 2 * math.pi * half)) ** 2
    assert height * rate**2 == pytest.approx(0.5, rel=1e-9)
