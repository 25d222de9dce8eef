"""The energy road to the decay: closed forms, and where the road must stay closed."""

import numpy as np
import pytest

from tapscan.records import Pole
from tapscan.signal.plate.ringdown import Ring, energy_left, ring_down, with_ring_down
from tests.snapshots import same_as_before, without_figures
from tests.sounds import T60_NEPER

RATE = 16_000


def heard(parts, noise=0.0, seconds=2.0):
    """Sum of (frequency, T60, amplitude), with white noise of an rms."""
    t = np.arange(round(seconds * RATE)) / RATE
    x = sum(a * np.exp(-T60_NEPER / t60 * t) * np.cos(2 * np.pi * f * t + 0.3) for f, t60, a in parts)
    return Ring(x + noise * np.random.default_rng(5).standard_normal(len(t)), RATE)


@pytest.mark.parametrize("t60", [0.3, 0.8, 1.8])
@pytest.mark.parametrize("noise", [0.0, 0.01])
def test_one_exponential_gives_its_own_decay(t60, noise):
    found = ring_down(heard([(700.0, t60, 1.0)], noise), 700.0, T60_NEPER / t60, [], noise**2)
    # 2 %: the evaluated 20 dB hold some tens of independent values at 40 dB.
    assert T60_NEPER / found.decay_rate_per_s == pytest.approx(t60, rel=0.02)


def test_noise_left_in_would_lengthen_the_decay():
    ring = heard([(700.0, 0.8, 1.0)], 0.05)
    with_noise = ring_down(ring, 700.0, T60_NEPER / 0.8, [], 0.0)
    without = ring_down(ring, 700.0, T60_NEPER / 0.8, [], 0.05**2)
    assert T60_NEPER / without.decay_rate_per_s == pytest.approx(0.8, rel=0.05)
    assert with_noise.decay_rate_per_s is None or with_noise.decay_rate_per_s < without.decay_rate_per_s


def test_a_ring_of_two_slopes_gives_the_decay_of_its_first_twenty_decibels_and_says_so():
    # amplitude 1 with T60 0.5 s and 0.01 with T60 4 s, both at 700 Hz: the fit of the whole ring lies between
    fit = Pole(700.0, 0.001, T60_NEPER / 0.9, 0.01, (1.0 + 0j,), 60.0)
    found = ring_down(heard([(700.0, 0.5, 1.0), (700.0, 4.0, 0.01)], seconds=4.0), 700.0, T60_NEPER / 0.9, [], 0.0)
    pole, note = with_ring_down(fit, found)
    assert 0.5 < T60_NEPER / pole.decay_rate_per_s < 0.75
    assert pole.decay_rate_sd_per_s >= abs(pole.decay_rate_per_s - fit.decay_rate_per_s)
    assert "0.9 s" in note
    same_as_before("fit-notes", without_figures(note), part="a ring of two slopes")


def test_where_the_roads_agree_the_fit_stands():
    fit = Pole(700.0, 0.001, T60_NEPER / 0.8, 0.01, (1.0 + 0j,), 60.0)
    pole, note = with_ring_down(fit, ring_down(heard([(700.0, 0.8, 1.0)]), 700.0, T60_NEPER / 0.8, [], 0.0))
    assert pole is fit
    assert note is None


@pytest.mark.parametrize(
    ("ring", "others", "noise", "why"),
    [
        (heard([(700.0, 0.3, 1.0), (708.0, 0.3, 1.0)]), [708.0], 0.0, "neighbour"),
        (heard([(700.0, 0.3, 0.001)], 0.3), [], 0.0, "noise"),
        (heard([(700.0, 0.3, 1.0)], seconds=0.02), [], 0.0, "shortly"),
    ],
)
def test_where_the_road_is_closed_it_says_why(ring, others, noise, why):
    found = ring_down(ring, 700.0, T60_NEPER / 0.3, others, noise)
    assert found.decay_rate_per_s is None
    assert why in found.reason


def quiet(noise):
    return Ring(noise * np.random.default_rng(6).standard_normal(RATE // 3), RATE)


@pytest.mark.parametrize("t60", [0.4, 0.8, 1.6])
@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_the_energy_left_falls_by_sixty_decibels_in_the_time_that_is_called_so(t60, noise):
    found = energy_left(heard([(700.0, t60, 1.0)], noise), quiet(noise), 700.0, T60_NEPER / t60, [])
    assert found.reason is None
    assert found.level_db[0] == 0 and found.level_db[-1] < -15
    straight = -60 / t60 * (found.time_s - found.time_s[0])
    assert (
        np.abs(found.level_db - straight).max() < 0.6
    )  # a decay drawn a tenth wrong parts by more than this within 6 dB


def test_the_curve_ends_before_noise_bends_it():
    loud, soft = (
        energy_left(heard([(700.0, 0.8, 1.0)], noise), quiet(noise), 700.0, T60_NEPER / 0.8, [])
        for noise in (0.05, 0.005)
    )
    assert -35 <= soft.level_db[-1] < loud.level_db[-1] - 3 < -15


def test_a_neighbour_closes_the_road_to_the_energy():
    assert "neighbour" in energy_left(heard([(700.0, 0.4, 1.0)]), None, 700.0, T60_NEPER / 0.4, [706.0]).reason


def test_a_sound_that_is_too_short_is_told():
    assert "short" in energy_left(heard([(700.0, 1.8, 1.0)], seconds=0.25), None, 700.0, T60_NEPER / 1.8, []).reason
