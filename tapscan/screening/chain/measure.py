"""Two readings of the reference bar beside each other, in figures.

    moved(before, after, settings)     Moved: how tones, levels and noise differ; None with no tones in common
    thermal(later_c, earlier_c, settings)   what the thermometer makes of steel: ppm and its standard deviation

A recorder's clock moves every tone in one ratio, and so does temperature: half of modulus slope and expansion. A sensor's weight, or a bar that lies otherwise, moves each
tone in its own. The common ratio is the weighted mean of the tones that moved together; its standard deviation is widened by how far they disagree.
"""

import numpy as np
from msgspec import Struct

from tapscan.estimate import Estimate
from tapscan.records import BarReading, FloatArray
from tapscan.settings import Settings


class Moved(Struct, frozen=True):
    """After against before."""

    modes: int
    shift_ppm: float
    shift_sd_ppm: float
    alike: bool
    response_db_per_octave: float | None
    response_sd: float | None
    decay_ratio: float


def moved(before: BarReading, after: BarReading, settings: Settings) -> Moved | None:
    """None: fewer tones in common than are needed."""
    pairs = matched(before, after, settings)
    if len(pairs) < settings.bar.modes:
        return None
    a = [before.modes[i] for i, _ in pairs]
    b = [after.modes[j] for _, j in pairs]
    apart = 1e6 * np.log([y.frequency_hz / x.frequency_hz for x, y in zip(a, b, strict=True)])
    own = [_sd_ppm(x.frequency) ** 2 + _sd_ppm(y.frequency) ** 2 for x, y in zip(a, b, strict=True)]
    low = (settings.bar.support_hz / np.array([x.frequency_hz for x in a])) ** 2
    sd = np.sqrt(np.array(own) + 2 * (settings.bar.repeat_ppm * (1 + low)) ** 2)
    shift, shift_sd, alike = _common(apart, sd, settings)
    levels = np.array([y.level_db - x.level_db for x, y in zip(a, b, strict=True)])
    slope, slope_sd = _slope(np.log2([x.frequency_hz for x in a]), levels, settings.bar.tone_db)
    ratio = float(np.median([y.decay_rate_per_s / x.decay_rate_per_s for x, y in zip(a, b, strict=True)]))
    return Moved(len(pairs), shift, shift_sd, alike, slope, slope_sd, ratio)


def _sd_ppm(frequency: Estimate) -> float:
    return 1e6 * (frequency.relative_sd or 0.0)


def matched(before: BarReading, after: BarReading, settings: Settings) -> list[tuple[int, int]]:
    """Tones of the one and the other that are one tone: those that agree with the ratio on which most tones agree, each used once."""
    f = np.log([m.frequency_hz for m in before.modes])
    g = np.log([m.frequency_hz for m in after.modes])
    if not len(f) or not len(g):
        return []
    apart = g[None, :] - f[:, None]
    within = np.abs(apart) < settings.bar.reach
    near = 1e-6 * settings.bar.together_ppm
    tried = [_agreeing(apart, within, shift, near) for shift in apart[within]]
    return max(tried, key=lambda t: (len(t), -_spread(apart, t)), default=[])


def _agreeing(apart: FloatArray, within: np.ndarray, shift: float, near: float) -> list[tuple[int, int]]:
    pairs, used = [], set()
    for i, row in enumerate(apart):
        away = np.where(within[i], np.abs(row - shift), np.inf)
        j = int(np.argmin(away))
        if away[j] <= near and j not in used:
            used.add(j)
            pairs.append((i, j))
    return pairs


def _spread(apart: FloatArray, pairs: list[tuple[int, int]]) -> float:
    values = [apart[i, j] for i, j in pairs]
    return float(np.sum(np.abs(values - np.median(values)))) if values else 0.0


def _common(apart: FloatArray, sd: FloatArray, settings: Settings) -> tuple[float, float, bool]:
    """Weighted mean of the tones that agree, its standard deviation (Birge: widened where they disagree), and whether nearly all do."""
    centre = weighted_median(apart, 1 / sd)
    near = np.abs(apart - centre) <= settings.bar.limit * sd
    x, weight = apart[near], 1 / sd[near] ** 2
    mean = float(np.sum(weight * x) / weight.sum())
    ratio = float(np.sqrt(np.sum(weight * (x - mean) ** 2) / max(len(x) - 1, 1)))
    odd = 1 - len(x) / len(apart)
    return mean, float(max(ratio, 1.0) / np.sqrt(weight.sum())), odd <= settings.bar.odd_share


def weighted_median(values: FloatArray, weight: FloatArray) -> float:
    """(n,) values and weights: the value under which half of the weight lies."""
    order = np.argsort(values)
    half = np.cumsum(weight[order]) >= weight.sum() / 2
    return float(values[order][np.argmax(half)])


def _slope(octaves: FloatArray, levels: FloatArray, least_db: float) -> tuple[float | None, float | None]:
    """Decibels an octave by least squares, and its standard deviation; a tone scatters by `least_db` at least."""
    x = octaves - octaves.mean()
    if len(x) < 3 or not np.any(x):
        return None, None
    slope = float(x @ levels / (x @ x))
    left = levels - levels.mean() - slope * x
    scatter = max(float(np.sqrt(left @ left / (len(x) - 2))), np.sqrt(2) * least_db)
    return slope, float(scatter / np.sqrt(x @ x))


def thermal(later_c: float | None, earlier_c: float | None, settings: Settings) -> tuple[float, float] | None:
    """Shift of steel in ppm and its standard deviation, by two readings of the thermometer; None without them."""
    if later_c is None or earlier_c is None:
        return None
    bar, kelvin = settings.bar, later_c - earlier_c
    coefficient_sd = abs(bar.large_per_k - bar.small_per_k) / np.sqrt(12)  # evenly between the two
    reading = abs(bar.per_k) * np.sqrt(2) * settings.thermal.thermometer_sd_k
    return 1e6 * bar.per_k * kelvin, float(1e6 * np.hypot(coefficient_sd * kelvin, reading))
