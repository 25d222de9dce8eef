"""A later scan of a plate in its piano measured against an earlier one.

    measure(earlier, later, around, settings)    Measured, in arrays
    largest(score, settings)                     mean of the largest

Screws, wood and tension move every tone from scan to scan, mostly by far more than a small crack does, and tones overlap from about 300 Hz on. Two things
are therefore looked at together: how far the tones that fell most have fallen, over what screws do and the fits do not know, and how unlike the strengths over the places have become of
the tones that belong together. A loosened screw or a parted strut changes shapes all over the plate; screws that all differ a little hardly do.
Across seasons the scatter is taken from the pair itself where it is larger. Ours; chosen and counted on simulated pianos (bench/in_piano.py).
"""

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from tapscan.records import FloatArray, Scan
from tapscan.records.comparison import Around
from tapscan.screening.compare.pairing import ModeTable, Pairing, mode_table, pair_modes
from tapscan.screening.compare.repeatability import shared_stations
from tapscan.screening.mode_origins import of_plate
from tapscan.settings import Settings

TOP_SHARE, FEWEST_DROPS = 0.17, 4  # of the tones judged: those that fell most
LEAST_UNLIKE = 3e-4  # of 1 less the cosine of two patterns: what hits a few millimetres off make of one tone
UNLIKE_SLOPE, UNLIKE_HZ, UNLIKE_USUAL = 1.6, 300.0, -5.5  # how it rises with frequency; what is usual
NORMAL = 1.4826  # standard deviations in one median of absolute values
WELL_KNOWN = 4e-3  # relative: pairs whose fits are known better tell the pair's own scatter
FEW = 6


class Measured(Struct, frozen=True, eq=False):
    """Arrays are by pair, (k,)."""

    earlier: ModeTable
    later: ModeTable
    pairing: Pairing
    change: FloatArray  # ln(later / earlier), what the tones share taken out
    sd: FloatArray
    score: FloatArray  # drops in standard deviations, positive: it fell
    judged: NDArray[np.bool_]
    drops: float | None  # mean of the largest
    unlike: float | None
    statistic: float | None
    limit: float
    limit_name: str  # in settings.piano


def measure(earlier: Scan, later: Scan, around: Around, settings: Settings) -> Measured:
    """`statistic` is None where too few tones were paired or too few places tapped in both."""
    limits, stations = settings.piano, shared_stations([earlier, later])
    before, after = mode_table(of_plate(earlier.modes), stations), mode_table(of_plate(later.modes), stations)
    job = around == "one job"
    reach = 1e-6 * (limits.pair_job_ppm if job else limits.pair_season_ppm)
    pairing = pair_modes(before, after, np.full(len(before), reach), settings)
    i, j = pairing.pairs.T
    f = before.frequency_hz[i]
    change = after.log_frequency[j] - before.log_frequency[i] - pairing.shift
    fit = limits.fit_factor * np.hypot(before.frequency_sd[i], after.frequency_sd[j])
    inside = (f > limits.lowest_hz) & (f < limits.highest_hz)
    judged = inside & (pairing.shape_correlation > limits.alike)
    sd = np.hypot(1e-6 * limits.job_ppm if job else _scatter(change[judged], fit[judged], settings), fit)
    score = -change / sd
    told = inside.sum() >= limits.modes and judged.sum() >= FEW and len(stations) >= limits.places
    drops = largest(score[judged], settings) if told else None
    unlike = _unlike(pairing.shape_correlation[inside], f[inside]) if told else None
    both = None if drops is None or unlike is None else drops + limits.pattern_weight * unlike
    name = _limit_name(job, len(stations), settings)
    limit = getattr(limits, name)
    return Measured(before, after, pairing, change, sd, score, judged, drops, unlike, both, limit, name)


def _scatter(change: FloatArray, fit: FloatArray, settings: Settings) -> float:
    """Relative sd that the pair itself shows, never under what 5 % of the screws make."""
    known = fit < WELL_KNOWN
    values = change[known] if known.sum() > FEW else change
    own = NORMAL * float(np.median(np.abs(values))) if len(values) else 0.0
    return max(1e-6 * settings.piano.season_ppm, own)


def largest(score: FloatArray, settings: Settings) -> float:
    """Mean of those that fell most. score : (k,)."""
    cap = settings.piano.score_cap
    top = max(FEWEST_DROPS, round(TOP_SHARE * len(score)))
    return float(np.sort(np.clip(score, -cap, cap))[-top:].mean())


def _unlike(shape_correlation: FloatArray, frequency_hz: FloatArray) -> float:
    """Natural logarithm of how unlike the strengths are, over what is usual at each frequency; mean of the pairs, at least 0: who hits the places more closely than usual does not thereby clear the plate."""
    each = np.log(np.maximum(1 - shape_correlation, 0.0) + LEAST_UNLIKE) - UNLIKE_SLOPE * np.log(
        frequency_hz / UNLIKE_HZ
    )
    return max(0.0, float(each.mean()) - UNLIKE_USUAL)


def _limit_name(job: bool, places: int, settings: Settings) -> str:
    """Of the threshold that the statistic is held against."""
    many, few = ("job_limit_many", "job_limit_few") if job else ("season_limit_many", "season_limit_few")
    return few if places <= settings.piano.places else many
