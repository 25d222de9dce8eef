"""Signals whose modes are known exactly, and the Cramer-Rao bound of each: what accuracy.py counts.

    Rings(...)              S strikes of M damped modes in white noise
    bound(...)              sd (2M,) no unbiased estimate can be better than: frequencies in Hz, then decay rates in 1/s
    kumaresan_tufts(...)    the two-mode signal of IEEE Trans. ASSP 30 (1982) 833, simulation 1, read second-hand

SNR is A^2 / (2 sigma^2) at the onset. The bound comes from the Fisher matrix of the very samples, every amplitude and
phase unknown (Kay, Fundamentals of Statistical Signal Processing I, 1993, ch. 3; from memory, checked against the closed form
for one mode in tests/truth/test_modes_bounds.py).
"""

from typing import Any

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray
from tapscan.signal.fit.polefit import fit_poles
from tapscan.signal.fit.subspace import shared_poles

KT_POLES, KT_LENGTH = np.array([-0.1 + 2j * np.pi * 0.52, -0.2 + 2j * np.pi * 0.42]), 25


class Rings(Struct, frozen=True, eq=False):
    """M modes heard in one record; amplitudes are complex, A exp(i phase)."""

    frequency_hz: FloatArray  # (M,)
    decay_rate_per_s: FloatArray  # (M,)
    amplitudes: np.ndarray  # (M,) complex
    sigma: float  # rms of the white noise
    length: int
    sample_rate_hz: int

    def samples(self, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
        """The record and a quarter of a second of noise from before it."""
        t = np.arange(self.length) / self.sample_rate_hz
        rings = np.exp(np.outer(-self.decay_rate_per_s + 2j * np.pi * self.frequency_hz, t))
        clean = (self.amplitudes @ rings).real
        noise = self.sigma * rng.standard_normal(self.length + self.sample_rate_hz // 4)
        return clean + noise[: self.length], noise[self.length :]


def bound(rings: Rings, skip: int = 0) -> FloatArray:
    """Cramer-Rao bound of all frequencies and decay rates from the samples after `skip`."""
    m = len(rings.frequency_hz)
    t = np.arange(skip, rings.length) / rings.sample_rate_hz
    ring = np.exp(np.outer(t, -rings.decay_rate_per_s + 2j * np.pi * rings.frequency_hz))
    turned = ring * rings.amplitudes
    by_frequency, by_decay = (2j * np.pi * t[:, None] * turned).real, (-t[:, None] * turned).real
    jacobian = np.hstack([by_frequency, by_decay, ring.real, -ring.imag])
    scale = np.linalg.norm(jacobian, axis=0)
    fisher = (jacobian / scale).T @ (jacobian / scale)
    return np.asarray(rings.sigma * np.sqrt(np.diag(np.linalg.inv(fisher)))[: 2 * m] / scale[: 2 * m])


def kt_bound(sigma: float) -> FloatArray:
    """(4,) bound of f1, f2, then decay 1 and 2 (per sample) of the complex signal, noise variance sigma^2 a real component."""
    n = np.arange(KT_LENGTH)
    ring = np.exp(np.outer(n, KT_POLES))
    jacobian = np.hstack([2j * np.pi * n[:, None] * ring, -n[:, None] * ring, ring, 1j * ring])
    fisher = (jacobian.conj().T @ jacobian).real / sigma**2
    return np.asarray(np.sqrt(np.diag(np.linalg.inv(fisher)))[:4])


def kumaresan_tufts(snr_db: float, rng: np.random.Generator, runs: int) -> dict[str, Any]:
    """Sums over runs of the squared errors over the bound; SNR = 1 / (2 sigma^2). A run without two poles is missed."""
    sigma = float(np.sqrt(0.5 * 10 ** (-snr_db / 10)))
    n, best = np.arange(KT_LENGTH), kt_bound(sigma)
    clean = np.exp(np.outer(n, KT_POLES)).sum(axis=1)
    f, d = KT_POLES.imag / (2 * np.pi), -KT_POLES.real
    z2, found = np.zeros(4), 0
    for _ in range(runs):
        x = clean + sigma * (rng.standard_normal(KT_LENGTH) + 1j * rng.standard_normal(KT_LENGTH))
        z = shared_poles(x[None], 2 * sigma**2, 2)
        if len(z) < 2:
            continue
        log_z = np.log(z)
        order = np.argsort(-(log_z.imag % (2 * np.pi)))
        fit = fit_poles(
            n / KT_LENGTH,
            np.fft.fft(x)[:, None],
            (log_z.imag % (2 * np.pi))[order] / (2 * np.pi),
            np.maximum(-log_z.real[order], 0.01),
            length=KT_LENGTH,
            rate_hz=1.0,
            noise=KT_LENGTH * 2 * sigma**2,
            background_terms=0,
        )
        found += 1
        z2 += (np.concatenate([fit.frequency_hz - f, fit.decay_rate_per_s - d]) / best) ** 2
    return {"runs": runs, "found": found, "z2": z2.tolist()}
