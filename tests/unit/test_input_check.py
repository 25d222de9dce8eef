"""What quiet sound tells of an input. Computed sounds, each with one known thing done to it."""

import numpy as np
import pytest
from scipy.signal import resample_poly

from tapscan.settings import Settings
from tapscan.signal.strikes.input_check import check_input
from tests.sounds import noise

RATE = 48000


def check(x, rate=RATE):
    return check_input(np.asarray(x), rate, Settings())


@pytest.mark.parametrize(("rms", "fit"), [(1e-4, True), (1.5e-3, None), (2e-2, False)])
def test_level_and_verdict(rms, fit):
    found = check(noise(5, RATE, rms))
    assert found.noise_db == pytest.approx(20 * np.log10(rms), abs=0.3)
    assert found.fit is fit
    assert found.processing == ()


def test_hum_is_named():
    t = np.arange(5 * RATE) / RATE
    hum = sum(1e-3 / k * np.sin(2 * np.pi * 60 * k * t) for k in (1, 2, 3))
    found = check(hum + noise(5, RATE, 1e-5))
    assert "60 Hz mains hum" in found.verdict


def test_silence_is_no_quiet_room():
    found = check(np.zeros(5 * RATE))
    assert found.noise_db is None and found.fit is False and "silence" in found.verdict


def test_a_gate_is_named():
    x = noise(6, RATE, 1e-4)
    x[2 * RATE : 4 * RATE] = 0.0
    assert any("noise gate" in p for p in check(x).processing)


def test_gain_that_rides_is_named():
    x = noise(6, RATE, 1e-4) * 10 ** (np.linspace(0, 15, 6 * RATE) / 20)
    assert any("gain riding" in p and "rose" in p for p in check(x).processing)


def test_a_low_rate_in_the_path_is_named():
    narrow = resample_poly(noise(6, 8000, 1e-3), 6, 1)
    (said,) = check(narrow + noise(6, RATE, 1e-8)).processing
    assert "nothing above 4" in said or "nothing above 3" in said
    assert any("8000 Hz" in p for p in check(noise(6, 8000, 1e-3), 8000).processing)
