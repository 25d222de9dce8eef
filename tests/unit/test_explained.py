"""The share of the sound that modes explain, against closed forms."""

import numpy as np
import pytest

from bench.accuracy_sounds import modes_taken
from tapscan.signal.plate.explained import explained_share
from tapscan.workflow.check import Request, check
from tests.sounds import noise, tap, wav_bytes, written

RATE = 48000
POLES = [(300.0, 8.0, 0.2 + 0.1j), (1210.0, 14.0, 0.1j)]


def made(poles) -> np.ndarray:
    t = np.arange(RATE) / RATE
    return sum((a * np.exp((2j * np.pi * f - d) * t)).real for f, d, a in poles)


def test_modes_explain_what_they_made():
    assert explained_share(made(POLES), POLES, RATE, 0.004, 50.0) == pytest.approx(1, abs=1e-5)


def test_what_is_left_out_is_missing():
    """Two tones of one decay and known amplitudes: the share is the ratio of their squares."""
    both = [(300.0, 8.0, 0.3 + 0j), (1210.0, 8.0, 0.1 + 0j)]
    assert explained_share(made(both), both[:1], RATE, 0.004, 50.0) == pytest.approx(0.9, abs=0.01)


def test_a_wrong_model_is_worse_than_none():
    wrong = [(300.0, 8.0, -0.3 + 0j)]
    assert explained_share(made([(300.0, 8.0, 0.3 + 0j)]), wrong, RATE, 0.004, 50.0) == pytest.approx(-3, abs=0.01)


def test_no_sound_no_share():
    assert explained_share(np.zeros(RATE), POLES[:0], RATE, 0.004, 50.0) is None
    assert explained_share(made(POLES)[:100], POLES, RATE, 0.004, 50.0) is None


@pytest.mark.parametrize("kind", ["noise", "hum", "speech", "music"])
def test_no_mode_is_sure_where_nothing_was_tapped(kind):
    """The short form of bench/accuracy's row. Talk: 22 is no tap, 76 and 198 are not explained."""
    assert [modes_taken(kind, seed) for seed in (22, 76, 198)] == [0, 0, 0]


def test_a_small_bell_is_explained_where_it_sounds(tmp_path):
    """0.43 s, modes from 3.7 to 6.5 kHz, noise below: "0 %" had been told of what any Fourier peak shows."""
    modes = [(3712.0, 0.35, 0.3), (5120.0, 0.25, 0.2), (6480.0, 0.2, 0.15)]
    samples = np.concatenate([np.zeros(4800), tap(0.43, RATE, modes, knock=0.0)])
    samples += noise(len(samples) / RATE, RATE, 1e-4)
    screening = check([str(written(tmp_path / "bell.wav", wav_bytes(samples, RATE, 24)))], Request()).screening
    (main,) = [m for m in screening.scan.modes if round(m.frequency_hz) == 3712]
    assert not (main.reason or "").startswith("unsure")
