"""Strings that sound along with a tap.

    singing(rng, count, sample_rate_hz)   a few unmuted strings after one blow, peak 1

Partials of a stiff string, n f0 sqrt(1 + B n^2) (Fletcher, J. Acoust. Soc. Am. 36 (1964) 203, from memory), with plain numbers for a bass-tenor string.
"""

import numpy as np

from tapscan.records import FloatArray

FUNDAMENTALS_HZ = (130.9, 196.1)
INHARMONICITY = 1.5e-4
PARTIALS = 7
T60_S = 7.0
T60_NEPER = 3 * np.log(10)


def singing(rng: np.random.Generator, count: int, sample_rate_hz: float) -> FloatArray:
    """(count,) from the blow on; every blow sets the same strings going, each partial as chance has it."""
    time = np.arange(count) / sample_rate_hz
    n = np.arange(1, PARTIALS + 1)
    out = np.zeros(count)
    for f0 in FUNDAMENTALS_HZ:
        f = n * f0 * np.sqrt(1 + INHARMONICITY * n**2)
        strength = rng.uniform(0.3, 1.0, PARTIALS) / n**0.5
        phase = rng.uniform(0, 2 * np.pi, PARTIALS)
        out += (strength[:, None] * np.sin(2 * np.pi * f[:, None] * time + phase[:, None])).sum(axis=0)
    out *= np.exp(-T60_NEPER / T60_S * time)
    return np.asarray(out / np.abs(out).max())
