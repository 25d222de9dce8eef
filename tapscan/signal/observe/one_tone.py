"""One tone of a strike alone: its neighbours, as they are fitted to that strike, taken away.

    without_neighbours(samples, rate, tone, neighbours)   the strike without them

Frequencies and decay rates are given (those of the whole scan); only amplitudes are solved for, by least squares over the bins
around the tone (the model of signal/fit/polefit.py). What no mode explains stays in, so that a ring that is no single exponential still shows.
"""

from collections.abc import Sequence

import numpy as np

from tapscan.records import FloatArray
from tapscan.signal.fit.polefit import BACKGROUND_TERMS, mode_values, smooth_terms

REACH_HZ = 150.0

FrequencyAndDecay = tuple[float, float]  # Hz; 1/s, amplitude


def without_neighbours(
    samples: FloatArray, sample_rate_hz: int, tone: FrequencyAndDecay, neighbours: Sequence[FrequencyAndDecay]
) -> FloatArray:
    """Samples : (n,) from where the plate rings freely. Neighbours further than REACH_HZ are left where they are."""
    near = [p for p in neighbours if abs(p[0] - tone[0]) <= REACH_HZ]
    if not near:
        return samples
    n, step = len(samples), sample_rate_hz / len(samples)
    first, last = max(1, int((tone[0] - REACH_HZ) / step)), min(n // 2, int((tone[0] + REACH_HZ) / step))
    bins = np.asarray(np.arange(first, last + 1) * step, dtype=np.float64)
    f, d = np.array([tone, *near]).T
    model = np.hstack([mode_values(bins, f, d, n, sample_rate_hz), smooth_terms(bins, BACKGROUND_TERMS)])
    scale = np.linalg.norm(model, axis=0)
    found = np.linalg.lstsq(model / scale, np.fft.rfft(samples)[first : last + 1], rcond=1e-8)[0] / scale
    turn = (-d[1:] + 2j * np.pi * f[1:]) / sample_rate_hz
    time = np.arange(n)
    taken = sum((c * np.exp(t * time)).real for c, t in zip(found[1 : len(f)], turn, strict=True))
    return np.asarray(samples - taken)
