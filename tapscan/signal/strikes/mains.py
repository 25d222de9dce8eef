"""Mains hum in a stretch of sound.

mains_hum(samples, rate)   50 or 60 where most of the power stands on that line and its overtones; else None
"""

import numpy as np

from tapscan.records import FloatArray
from tapscan.signal.fit.noise import hann

MAINS_HZ = (50.0, 60.0)
MAINS_SHARE = 0.7


def mains_hum(samples: FloatArray, sample_rate_hz: int) -> float | None:
    """50 or 60 where most of the power stands on that line and its overtones; else None.

    samples : (n,) full scale = 1.
    """
    if len(samples) < 0.2 * sample_rate_hz:
        return None
    x = samples - samples.mean()
    power = np.abs(np.fft.rfft(x * hann(len(x)))) ** 2
    f = np.fft.rfftfreq(len(x), 1 / sample_rate_hz)
    total = power[f > 20].sum()
    width = max(2.0, 2.5 * sample_rate_hz / len(x))
    low = f < 13 * max(MAINS_HZ)  # twelve lines
    power, f = power[low], f[low]
    for mains in MAINS_HZ:
        order = np.round(f / mains)
        on_line = (np.abs(f - order * mains) < width) & (order >= 1) & (order <= 12)
        if total > 0 and power[on_line].sum() > MAINS_SHARE * total:
            return mains
    return None
