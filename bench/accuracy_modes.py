"""Signals whose modes are known exactly, and the Cramer-Rao bound of each: what accuracy.py counts.

    Rings(...)              S strikes of M damped modes in white noise
    bound(...)              sd (2M,) no unbiased estimate can be better than: frequencies in Hz, then decay rates in 1/s
    KUMARESAN_TUFTS         the two-mode signal of IEEE Trans. ASSP 30 (1982) 833, simulation 1, as physics.md gives it

SNR is A^2 / (2 sigma^2) at the onset. The bound comes from the Fisher matrix of the very samples, every amplitude and
phase unknown (Kay, Fundamentals of Statistical Signal Processing I, 1993, ch. 3; from memory, checked against the closed form
for one mode in tests/truth/test_modes_bounds.py).
"""

from dataclasses import dataclass

import numpy as np

from tapscan.records import FloatArray


@dataclass(frozen=True, eq=False)
class Rings:
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
