"""What is summed in a quick way is the same as in the plain way."""

import numpy as np
import pytest

from tapscan.signal.fit import polefit
from tapscan.signal.fit.mode_arrays import ModeArrays
from tapscan.signal.fit.polefit import fit_poles, mode_values
from tapscan.signal.fit.ringing import ringing
from tapscan.signal.plate.ringdown import FEW_BINS, Ring

RATE_HZ, LENGTH = 16_000, 45_000
STEP_HZ = RATE_HZ / LENGTH
RNG = np.random.default_rng(7)


def complex_normal(*shape: int) -> np.ndarray:
    return RNG.normal(size=shape) + 1j * RNG.normal(size=shape)


def modes(many: int) -> ModeArrays:
    f, d = np.sort(RNG.uniform(20.0, 2500.0, many)), RNG.uniform(1.0, 30.0, many)
    return ModeArrays(f, d, complex_normal(many, 3))


@pytest.mark.parametrize("many", [0, 1, 30])
@pytest.mark.parametrize(("start", "stop"), [(0, 0), (0, 256), (5, 3000)])
def test_the_sound_of_modes_is_the_sum_over_them(many, start, stop):
    m, n = modes(many), np.arange(start, stop)
    log_z = (-m.decay_rate_per_s + 2j * np.pi * m.frequency_hz) / RATE_HZ
    plain = (m.amplitudes.T @ np.exp(log_z[:, None] * n)).real
    found = ringing(m.frequency_hz, m.decay_rate_per_s, m.amplitudes.T, RATE_HZ, start, stop)
    np.testing.assert_allclose(found, plain, rtol=0, atol=1e-10)


@pytest.mark.parametrize(("low_hz", "high_hz"), [(1, 4), (1, 60), (20, 60), (500, 600), (1500, 2500)])
def test_images_are_the_spectra_of_the_mirrored_modes(low_hz, high_hz):
    m, bins = modes(30), np.arange(int(low_hz / STEP_HZ), int(high_hz / STEP_HZ)) * STEP_HZ
    plain = mode_values(bins, -m.frequency_hz, m.decay_rate_per_s, LENGTH, RATE_HZ) @ m.amplitudes.conj()
    np.testing.assert_allclose(m.images(bins, LENGTH, RATE_HZ), plain, rtol=0, atol=1e-12 * np.abs(plain).max())


@pytest.mark.parametrize("size", [255, 256, 10_007])
@pytest.mark.parametrize("many", [1, FEW_BINS, FEW_BINS + 2])
def test_bins_of_a_strike_are_its_transform(size, many):
    samples = RNG.normal(size=size).astype(np.float32)
    plain = np.fft.rfft(samples.astype(float))[20 : 20 + many]
    np.testing.assert_allclose(Ring(samples, RATE_HZ).bins(20, 19 + many), plain, rtol=0, atol=1e-9)


def test_a_fit_ends_where_rounding_alone_decides(monkeypatch):
    """From where a fit of strong modes ended, what another step would gain is lost in the last digit of its cost."""
    plain, asked = polefit._project, []
    monkeypatch.setattr(polefit, "_project", lambda *both: asked.append(both) or plain(*both))
    m, bins = modes(8), np.arange(1400, 1700) * STEP_HZ
    m = ModeArrays(np.linspace(bins[20], bins[-20], 8), m.decay_rate_per_s, 1e3 * m.amplitudes)
    known = {"length": LENGTH, "rate_hz": RATE_HZ, "noise": 2.0}
    for _ in range(20):
        spectra = m.spectra(bins, LENGTH, RATE_HZ) + complex_normal(len(bins), 3)
        found = fit_poles(bins, spectra, m.frequency_hz + 0.01, 1.02 * m.decay_rate_per_s, **known)
        asked.clear()
        again = fit_poles(bins, spectra, found.frequency_hz, found.decay_rate_per_s, **known)
        assert again.settled
        assert len(asked) == 2
