"""A tone freed of its neighbours: closed forms with known parts."""

import numpy as np
import pytest

from tapscan.signal.observe.one_tone import without_neighbours

RATE = 16_000
TIME = np.arange(2 * RATE) / RATE
TONE = (1273.3, 17.1)


def part(frequency_hz: float, decay_rate_per_s: float, amplitude: float, phase: float) -> np.ndarray:
    return amplitude * np.exp(-decay_rate_per_s * TIME) * np.cos(2 * np.pi * frequency_hz * TIME + phase)


NEAR = [(1266.3, 16.8), (1281.0, 17.5), (1329.9, 19.0)]
FAR = (2200.0, 30.0)


@pytest.mark.parametrize("loudness", [0.3, 3.0])
def test_neighbours_nearer_than_a_bandwidth_are_taken_away_and_the_tone_stays(loudness):
    own = part(*TONE, 1.0, 0.4)
    neighbours = sum(part(*p, loudness, 1.0 + k) for k, p in enumerate(NEAR))
    noise = 1e-3 * np.random.default_rng(1).standard_normal(len(TIME))
    left = without_neighbours(own + neighbours + noise, RATE, TONE, NEAR) - own
    # 1e-3 is the noise itself, the rest what noise does to the amplitudes
    assert np.sqrt(np.mean(left**2)) < 3e-3 < 0.1 * np.sqrt(np.mean(neighbours**2))


def test_what_no_mode_explains_stays_in():
    own, odd = part(*TONE, 1.0, 0.4), part(1240.0, 3.0, 0.1, 0.0)
    left = without_neighbours(own + odd, RATE, TONE, NEAR)
    assert np.corrcoef(left[RATE // 2 :], odd[RATE // 2 :])[0, 1] > 0.98


def test_far_tones_are_left_where_they_are():
    sound = part(*TONE, 1.0, 0.4) + part(*FAR, 1.0, 0.0)
    assert without_neighbours(sound, RATE, TONE, [FAR]) is sound
