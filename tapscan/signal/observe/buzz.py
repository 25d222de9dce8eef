"""What the modes leave unexplained late in the ring: a buzz, or nothing but noise.

    late_sounds(columns, workers)    gives Late: three figures a strike

A plate that rings freely is the sum of its modes; once the knock is over, what is left beside them is noise. Loose parts
touch and let go again, so what they add comes in bursts: uneven from one frame of some milliseconds to the next, where noise of
a band wider than the frame is short is even, and where what a fit missed dies away smoothly. Ours; no source.
"""

from collections.abc import Callable
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray
from tapscan.signal.observe.strike_spectra import InTime, StrikeSpectra
from tapscan.workers import ALONE, Workers

FROM_S, TO_S = 0.15, 0.65  # the knock and its echoes are over; a soft rattle still lives
FRAME_S = 0.004
MARGIN = 1.5  # so far beyond is looked at, so that the end of what is cut out does not reach into it
LOWEST_HZ = 200.0  # supports and steps below
HIGHEST_SHARE = 0.45  # of the sample rate
SLICES = 24
LEAST_FRAMES = 20


class Late(Struct, frozen=True, eq=False):
    """(S,) arrays. ``late_db`` : unexplained power over the noise; ``share_db`` : over all that is heard then; ``unevenness`` : 1."""

    late_db: FloatArray
    share_db: FloatArray
    unevenness: FloatArray


def late_sounds(columns: StrikeSpectra, workers: Workers = ALONE) -> Callable[[], Late] | None:
    """None where the rings are too short. Others begin at once; the answer is waited for when it is called for."""
    rate = columns.rate
    count = (min(columns.length, round(TO_S * rate)) - round(FROM_S * rate)) // round(FRAME_S * rate)
    if count < LEAST_FRAMES:
        return None
    low, high = LOWEST_HZ, HIGHEST_SHARE * rate
    answers = workers.begun(_late_power, (_Work(one, low, high, count) for one in columns.in_time(MARGIN * TO_S)))

    def late() -> Late:
        edges = np.linspace(low, high, SLICES + 1)  # the middle slice: a steady tone is no noise
        slices = [columns.noise(float(a), float(b)) for a, b in pairwise(edges)]
        noise = np.median(slices, axis=0) * 2 * (high - low) / rate
        power, heard, frames = (np.concatenate(x) for x in zip(*answers, strict=True))
        return Late(
            10 * np.log10(power / (noise + 1e-300)), 10 * np.log10(power / (heard + 1e-300)), _unevenness(frames)
        )

    return late


class _Work(NamedTuple):
    """One station's part; stations do not wait for each other."""

    sound: InTime
    low_hz: float
    high_hz: float
    frames: int


def _late_power(work: _Work) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean squares late in the ring: (S,) of what is left, (S,) of what is heard, (S, count) of what is left in each frame."""
    rate, count = work.sound.rate, work.frames
    first, frame = round(FROM_S * rate), round(FRAME_S * rate)
    both = work.sound.without_modes(work.low_hz, work.high_hz)
    left, heard = (x[:, first : first + count * frame] for x in both)
    frames = np.mean(left.reshape(len(left), count, frame) ** 2, axis=2) + 1e-300
    return np.mean(left**2, axis=1) + 1e-300, np.mean(heard**2, axis=1), frames


def _unevenness(frames: FloatArray) -> FloatArray:
    """(S,) standard deviation over mean of the frames (S, count), their smooth fall taken out."""
    at = np.arange(frames.shape[1])
    slope, start = np.polyfit(at, np.log(frames.T), 1)
    level = frames / np.exp(slope[:, None] * at + start[:, None])
    return np.asarray(level.std(axis=1) / level.mean(axis=1))
