"""What the modes leave unexplained late in the ring: a buzz, or nothing but noise.

    late_sounds(columns)    Late: three figures a strike

A plate that rings freely is the sum of its modes; once the knock is over, what is left beside them is noise. Loose parts
touch and let go again, so what they add comes in bursts: uneven from one frame of some milliseconds to the next, where noise of
a band wider than the frame is short is even, and where what a fit missed dies away smoothly. Ours; no source.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tapscan.records import FloatArray
from tapscan.signal.observe.strike_spectra import Columns

FROM_S, TO_S = 0.15, 0.65  # the knock and its echoes are over; a soft rattle still lives
FRAME_S = 0.004
MARGIN = 1.5  # so far beyond is looked at, so that the end of what is cut out does not reach into it
LOWEST_HZ = 200.0  # supports and steps below
HIGHEST_SHARE = 0.45  # of the sample rate
SLICES = 24
LEAST_FRAMES = 20


@dataclass(frozen=True, eq=False)
class Late:
    """(S,) arrays. ``late_db`` : unexplained power over the noise; ``share_db`` : over all that is heard then; ``unevenness`` : 1."""

    late_db: FloatArray
    share_db: FloatArray
    unevenness: FloatArray


def late_sounds(columns: Columns) -> Late | None:
    """None where the rings are too short."""
    first, frame = round(FROM_S * columns.rate), round(FRAME_S * columns.rate)
    count = (min(columns.length, round(TO_S * columns.rate)) - first) // frame
    if count < LEAST_FRAMES:
        return None
    low, high = LOWEST_HZ, HIGHEST_SHARE * columns.rate
    left, heard = (x[:, first : first + count * frame] for x in columns.without_modes(low, high, MARGIN * TO_S))
    edges = np.linspace(low, high, SLICES + 1)  # the middle slice: a steady tone is no noise
    slices = [columns.noise(float(a), float(b)) for a, b in pairwise(edges)]
    noise = np.median(slices, axis=0) * 2 * (high - low) / columns.rate
    power = np.mean(left**2, axis=1) + 1e-300
    frames = np.mean(left.reshape(len(left), count, frame) ** 2, axis=2) + 1e-300
    return Late(
        10 * np.log10(power / (noise + 1e-300)),
        10 * np.log10(power / (np.mean(heard**2, axis=1) + 1e-300)),
        _unevenness(frames),
    )


def _unevenness(frames: FloatArray) -> FloatArray:
    """(S,) standard deviation over mean of the frames (S, count), their smooth fall taken out."""
    at = np.arange(frames.shape[1])
    slope, start = np.polyfit(at, np.log(frames.T), 1)
    level = frames / np.exp(slope[:, None] * at + start[:, None])
    return np.asarray(level.std(axis=1) / level.mean(axis=1))
