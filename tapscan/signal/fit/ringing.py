"""The sound of modes, sample by sample.

ringing(frequency_hz, decay_rate_per_s, amplitudes, rate_hz, start, stop)   (S, stop - start) float64
"""

from functools import lru_cache

import numpy as np

from tapscan.records import ComplexArray, FloatArray

BLOCK = 256  # samples; one exponential a block and mode, and one table for all blocks


def ringing(
    frequency_hz: FloatArray,
    decay_rate_per_s: FloatArray,
    amplitudes: ComplexArray,
    rate_hz: float,
    start: int,
    stop: int,
) -> FloatArray:
    """Samples start..stop of sum Re c exp((-d + 2 pi i f) n / rate); amplitudes c (S, M) at sample 0."""
    log_z = (-decay_rate_per_s + 2j * np.pi * frequency_hz) / rate_hz
    real, imaginary = _within_a_block(log_z.tobytes())
    out = np.empty((len(amplitudes), stop - start))
    for first in range(0, stop - start, BLOCK):
        c = amplitudes * np.exp(log_z * (start + first))
        many = min(BLOCK, stop - start - first)
        out[:, first : first + many] = c.real @ real[:, :many] - c.imag @ imaginary[:, :many]
    return out


@lru_cache(maxsize=1)
def _within_a_block(log_z: bytes) -> tuple[FloatArray, FloatArray]:
    """(M, BLOCK) of modes of amplitude 1; kept, since all places are often asked for the same modes."""
    within = np.exp(np.frombuffer(log_z, dtype=complex)[:, None] * np.arange(BLOCK))
    return within.real.copy(), within.imag.copy()
