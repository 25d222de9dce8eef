"""One pole in many sets of strikes at once, as the fit of any number of poles tells it set by set."""

from typing import Any

import numpy as np

from tapscan.signal.fit.one_pole import fit_one_pole
from tapscan.signal.fit.polefit import fit_poles, mode_values

RATE_HZ, LENGTH, SETS = 8000, 16_000, 12
BINS_HZ = np.arange(1560, 1641) * RATE_HZ / LENGTH


def sets(rng: np.random.Generator, strikes: np.ndarray) -> np.ndarray:
    """(SETS, K, 3) of modes about 800 Hz that noise and the tail of another one lie over."""
    out = np.zeros((SETS, len(BINS_HZ), 3), dtype=complex)
    for one, many in zip(out, strikes.tolist(), strict=True):
        f, d = np.array([800 * (1 + 2e-4 * rng.standard_normal()), 700.0]), np.array([rng.uniform(1.5, 6.0), 8.0])
        amplitudes = rng.standard_normal((2, many)) + 1j * rng.standard_normal((2, many))
        noise = rng.standard_normal((2, len(BINS_HZ), many))
        one[:, :many] = mode_values(BINS_HZ, f, d, LENGTH, RATE_HZ) @ amplitudes
        one[:, :many] += np.sqrt(LENGTH / 2) * 0.02 * (noise[0] + 1j * noise[1])
    return out


def test_many_sets_at_once_are_told_as_one_by_one() -> None:
    rng = np.random.default_rng(5)
    strikes = rng.integers(1, 4, SETS)
    spectra = sets(rng, strikes)
    start = np.full(SETS, 800.3), np.full(SETS, 2.0)
    common: dict[str, Any] = {"length": LENGTH, "rate_hz": RATE_HZ, "noise": 4e-4 * LENGTH}
    for steps in (0, 1, 12):
        found = fit_one_pole(BINS_HZ, spectra, *start, strikes=strikes, steps=steps, **common)
        for i, many in enumerate(strikes.tolist()):
            one = fit_poles(
                BINS_HZ, spectra[i, :, :many], start[0][i : i + 1], start[1][i : i + 1], steps=steps, **common
            )
            sd = one.covariance.diagonal() ** 0.5
            assert abs(found.frequency_hz[i] - one.frequency_hz[0]) < 1e-3 * sd[0]
            assert abs(found.decay_rate_per_s[i] - one.decay_rate_per_s[0]) < 1e-3 * sd[1]
            np.testing.assert_allclose(found.amplitudes[i, :many], one.amplitudes[0], rtol=1e-5)
            assert not found.amplitudes[i, many:].any()
            np.testing.assert_allclose(found.left[i], np.sum(np.abs(one.residual) ** 2), rtol=1e-8)


def test_a_set_of_background_alone_has_an_answer() -> None:
    smooth = np.zeros((1, len(BINS_HZ), 3), dtype=complex)
    smooth += np.linspace(-1, 1, len(BINS_HZ))[:, None]
    found = fit_one_pole(
        BINS_HZ,
        smooth,
        np.array([800.0]),
        np.array([3.0]),
        length=LENGTH,
        rate_hz=RATE_HZ,
        noise=1.0,
        strikes=np.array([3]),
    )
    assert all(np.isfinite(x).all() for x in found) and found.left[0] < 1e-20
