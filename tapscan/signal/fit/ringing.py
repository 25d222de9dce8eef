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
    if not len(frequency_hz):
        return np.zeros((len(amplitudes), stop - start))
    log_z = ((-decay_rate_per_s + 2j * np.pi * frequency_hz) / rate_hz).tobytes()
    at_blocks = np.multiply(amplitudes[:, None, :], _blocks(log_z, start, stop), order="C")
    strikes, blocks, modes = at_blocks.shape
    parts = at_blocks.view(float).reshape(strikes * blocks, 2 * modes)  # real and imaginary parts in turn
    return np.asarray((parts @ _within_a_block(log_z)).reshape(strikes, blocks * BLOCK)[:, : stop - start])


@lru_cache(maxsize=2)
def _blocks(log_z: bytes, start: int, stop: int) -> ComplexArray:
    """(blocks, M) modes of amplitude 1 where the blocks begin; kept, since all places are often asked for the same modes."""
    return np.stack([_at_blocks(z, start, stop) for z in _each(log_z)], axis=1)


@lru_cache(maxsize=1)
def _within_a_block(log_z: bytes) -> FloatArray:
    """(2 M, BLOCK) what the real and the imaginary part of a mode at a block's beginning make of the block; kept."""
    return np.concatenate([_in_block(z) for z in _each(log_z)])


def _each(log_z: bytes) -> list[complex]:
    found: list[complex] = np.frombuffer(log_z, dtype=complex).tolist()
    return found


@lru_cache(maxsize=512)
def _at_blocks(log_z: complex, start: int, stop: int) -> ComplexArray:
    """(blocks,) of one mode; kept, since a place hears most of the modes of the one before, if not all."""
    return np.exp(np.arange(start, stop, BLOCK) * log_z)


@lru_cache(maxsize=512)
def _in_block(log_z: complex) -> FloatArray:
    """(2, BLOCK) of one mode; kept."""
    within = np.exp(log_z * np.arange(BLOCK))
    return np.stack([within.real, -within.imag])
