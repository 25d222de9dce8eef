"""A strike by time and frequency.

    time_frequency_of(samples, rate, before_s)   TimeFrequency, or None where there is too little sound

Short-time Fourier transforms (scipy) with Gaussian windows, long for low tones and short for high ones: below 300 Hz a fifth of a
second, above 1200 Hz a twentieth. So low neighbours are told apart and high tones do not smear.
"""

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray

WINDOWS = ((0.0, 0.20), (300.0, 0.10), (1200.0, 0.05))  # from this frequency in Hz, length in s
STEP_S = 0.012
LOW_HZ, HIGH_HZ = 50.0, 4000.0
RANGE_DB = 60.0
ROWS = 120


class TimeFrequency(Struct, frozen=True, eq=False):
    """Levels of one strike."""

    time_s: FloatArray  # (t,) from the onset
    frequency_hz: FloatArray  # (f,) rising, by the logarithm
    level_db: FloatArray  # (f, t) re the loudest


def time_frequency_of(samples: FloatArray, sample_rate_hz: int, before_s: float) -> TimeFrequency | None:
    """Samples : (n,), the onset `before_s` after their start."""
    if len(samples) < 2 * WINDOWS[0][1] * sample_rate_hz:
        return None
    f = np.geomspace(LOW_HZ, min(HIGH_HZ, 0.45 * sample_rate_hz), ROWS)
    step = round(STEP_S * sample_rate_hz)
    end = len(samples) - round(WINDOWS[0][1] / 2 * sample_rate_hz)  # where the sound is cut every window smears
    time = np.arange(0, end, step) / sample_rate_hz
    level = np.empty((ROWS, len(time)))
    ends = [w[0] for w in WINDOWS[1:]] + [np.inf]
    for (start, length), below in zip(WINDOWS, ends, strict=True):
        rows = (f >= start) & (f < below)
        if rows.any():
            level[rows] = _levels(samples, sample_rate_hz, length, step, f[rows], time)
    return TimeFrequency(time - before_s, f, level - level.max())


def _levels(
    samples: FloatArray, rate: int, length_s: float, step: int, wanted_hz: FloatArray, time_s: FloatArray
) -> FloatArray:
    """Amplitude of a steady tone reads alike through every window."""
    from scipy.signal import stft

    size = round(length_s * rate)
    window = ("gaussian", size / 6)
    f, t, z = stft(samples, rate, window=window, nperseg=size, noverlap=size - step, nfft=4 * size, padded=True)
    level = 20 * np.log10(np.abs(z) + 1e-12)
    columns = level[:, np.minimum(np.searchsorted(t, time_s), len(t) - 1)]
    return np.array([np.interp(wanted_hz, f, column) for column in columns.T]).T
