"""Whether the sound was cut off in frequency as a lossy codec or a lower sampling rate does.

    cut_off_hz(pieces, rate)    the highest frequency of the sound where it ends as if cut with a knife, or None
    traces_of(pieces, rate)     'lossy', 'upsampled' or None

A codec of few bits leaves out all above 16 to 20 kHz within a few hundred Hz; what remains there is the step noise of the file, flat up
to half the rate. Untouched sound has its own noise up to the converter's filter. A lower rate that was raised ends just under half of
that rate, and so do some codecs: that is called upsampled, which refuses nothing. A codec of many bits cuts nothing off and is not told,
nor is one that fades out over a kHz or two, nor sound so quiet that it lies under the step noise anyhow. Chosen and counted on different
simulated taps: bench/results/codecs.txt.
"""

from collections.abc import Iterable
from typing import Literal

import numpy as np

from tapscan.records import FloatArray

RATES_HZ = (44_100, 48_000)  # others are not judged: no codec's cut lies far enough from their converter's
FRAME = 2048
BAND_HZ = 150.0
TOP = 0.485  # of the rate; what lies above is the converter's filter
FLOOR_HZ = 1000.0  # width of the floor at the top
OVER_DB, FLAT_DB, STEP_DB = 3.0, 1.5, 5.0
STEEP_HZ, STEEP_HZ_PER_DB, SHOULDER_DB = 300.0, 16.0, 1.5  # a coarse filter of a converter takes twice as much and more
SLACK_HZ = 600.0  # a lower rate's mirrored remainder above half of it
EDGE_HZ = 250.0  # what the window spreads above the edge
NEAR_HZ, FAR_HZ = (800.0, 1300.0), (1700.0, 2400.0)  # under the foot of the edge: the level must stand already
PLATEAU = 0.4  # of the step: how much the level may change between these two; a slope changes by more
LOSSY_HZ = (10_000.0, 20_400.0)
LOWER_RATES_HZ = (8_000, 11_025, 12_000, 16_000, 22_050, 24_000, 32_000)
UNDER_HALF = 0.8  # of half a lower rate: the coarsest filter that was tried ends above

Traces = Literal["lossy", "upsampled"]


def traces_of(pieces: Iterable[FloatArray], rate_hz: int) -> Traces | None:
    """Pieces : (n,) samples each, full scale = 1, of loud sound. None: no cut, or the rate is not judged."""
    cut = cut_off_hz(pieces, rate_hz)
    if cut is None or cut > LOSSY_HZ[1]:
        return None
    lower = any(UNDER_HALF * r / 2 <= cut <= r / 2 + SLACK_HZ for r in LOWER_RATES_HZ)
    return "upsampled" if lower or cut < LOSSY_HZ[0] else "lossy"


def cut_off_hz(pieces: Iterable[FloatArray], rate_hz: int) -> float | None:
    """Half way down the edge, to BAND_HZ. None where the sound fades into its floor or fills the band.

    pieces : each (n,) full scale = 1.
    """
    if rate_hz not in RATES_HZ:
        return None
    level = _levels_db(pieces, rate_hz)
    if level is None:
        return None
    middle: FloatArray = np.asarray((np.arange(len(level)) + 0.5) * BAND_HZ)
    floor = float(np.median(level[middle > middle[-1] - FLOOR_HZ]))
    over = np.flatnonzero(level > floor + OVER_DB)
    if not over.size:
        return None
    foot = float(middle[over[-1]] + BAND_HZ / 2)
    beyond = level[middle > foot + EDGE_HZ]
    if len(beyond) * BAND_HZ < FLOOR_HZ or np.sqrt(np.mean((beyond - floor) ** 2)) > FLAT_DB:
        return None
    near, far = (_mean_between(level, middle, foot - high, foot - low) for low, high in (NEAR_HZ, FAR_HZ))
    step = near - floor
    if not (step >= STEP_DB and abs(far - near) <= PLATEAU * step):
        return None
    half_way, shoulder = (float(middle[np.flatnonzero(level > x)[-1]]) for x in (floor + step / 2, near - SHOULDER_DB))
    steep = foot - shoulder - BAND_HZ / 2 <= STEEP_HZ + STEEP_HZ_PER_DB * step
    return half_way + BAND_HZ / 2 if steep else None


def _mean_between(level: FloatArray, middle: FloatArray, low_hz: float, high_hz: float) -> float:
    inside = (middle >= low_hz) & (middle <= high_hz)
    return float(level[inside].mean()) if inside.any() else -np.inf


def _levels_db(pieces: Iterable[FloatArray], rate_hz: int) -> FloatArray | None:
    """Mean level of each band of BAND_HZ over all frames that are not silent, dB; None without one."""
    window = np.hanning(FRAME)
    total, frames = np.zeros(FRAME // 2 + 1), 0
    for piece in pieces:
        if len(piece) < FRAME:
            continue
        cut = np.lib.stride_tricks.sliding_window_view(piece, FRAME)[:: FRAME // 2]
        cut = cut[cut.any(axis=1)]
        power = np.abs(np.fft.rfft((cut - cut.mean(axis=1, keepdims=True)) * window, axis=1)) ** 2
        total += 10 * np.log10(power + 1e-20).sum(axis=0)
        frames += len(cut)
    if not frames:
        return None
    band = (np.fft.rfftfreq(FRAME, 1 / rate_hz) // BAND_HZ).astype(int)
    bands = int(TOP * rate_hz // BAND_HZ)
    sums, counts = np.bincount(band, total), np.bincount(band)
    return np.asarray(sums[:bands] / counts[:bands] / frames)
