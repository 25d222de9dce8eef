"""A buzz in a note: what lies between its partials while it is held.

    buzz_of(samples, rate, ...)   (over the noise, over the whole note) in dB, or why it cannot be told

A string's sound is lines; parts that touch and let go add short bursts, which fill the gaps between the lines. The fainter quarter of the fine spectrum is taken band
by band and turned into the power that noise of that level would have. Ours; no source.
"""

from functools import lru_cache
from itertools import pairwise

import numpy as np

from tapscan.records import FloatArray

FROM_S, TO_S, LEAST_S, QUIET_S = 0.1, 0.6, 0.15, 0.03
GONE_S, AFTER_S = 0.2, 0.15  # so long after the damper a buzz is over; what is looked at then
LOW_HZ, HIGH_HZ, SLICE_HZ = 1200.0, 8000.0, 400.0
QUARTER, QUARTER_OF_NOISE = 25.0, 0.2877  # percentile; what it is of the mean for noise, -ln(0.75)
SHAPE = 9.0  # of the Kaiser window: side lobes under -65 dB

HELD_TOO_SHORT, NOT_QUIET = "held too short", "nothing quiet before it"  # why it is not told


def buzz_of(
    samples: FloatArray, rate: int, onset_s: float, until_s: float, end_s: float, quiet_before_s: float
) -> tuple[float, float] | str:
    """Of (n,) samples; `until_s` : where the damper falls; `end_s` : of the next note; `quiet_before_s` : how long before the onset nothing was played."""
    first = round((onset_s + FROM_S) * rate)
    count = round(min(TO_S - FROM_S, until_s - onset_s - FROM_S - QUIET_S) * rate)
    if count < LEAST_S * rate:
        return HELD_TOO_SHORT
    start = round((onset_s - QUIET_S) * rate) - count
    if start < 0 or quiet_before_s < count / rate + QUIET_S:
        start = max(0, round((onset_s - QUIET_S) * rate) - round(0.5 * count))
    before = samples[start : round((onset_s - QUIET_S) * rate)]
    note = samples[first : first + count]
    if len(note) < count or len(before) < 0.3 * count:
        return NOT_QUIET
    floors, noise = _floors(note, rate), _floors(before, rate)
    after = samples[round((until_s + GONE_S) * rate) : round(min(end_s - QUIET_S, until_s + GONE_S + TO_S) * rate)]
    if len(after) > AFTER_S * rate:  # what goes on after the damper came from elsewhere
        noise = np.maximum(noise, _floors(after, rate))
    over = np.minimum(
        floors.sum() / (noise.sum() + 1e-30), np.exp(np.median(np.log((floors + 1e-30) / (noise + 1e-30))))
    )
    own = max(1e-30, float(floors.sum() - noise.sum()))
    whole = float(np.mean((note - note.mean()) ** 2))
    return float(10 * np.log10(over + 1e-30)), float(10 * np.log10(own / whole + 1e-30))


def _floors(cut: FloatArray, rate: int) -> FloatArray:
    """Power of noise as strong as the fainter quarter of each slice, full scale = 1."""
    window = _window(len(cut))
    power = np.abs(np.fft.rfft(cut * window)) ** 2 * 2 / np.sum(window**2) / len(cut)
    step = rate / len(cut)
    edges = np.arange(LOW_HZ, min(HIGH_HZ, 0.42 * rate) + 1, SLICE_HZ)
    slices = [power[int(a / step) : int(b / step)] for a, b in pairwise(edges)]
    return np.array([np.percentile(p, QUARTER) / QUARTER_OF_NOISE * len(p) for p in slices])


@lru_cache(maxsize=16)
def _window(count: int) -> FloatArray:
    return np.kaiser(count, SHAPE)
