"""Two scans of a plate in its piano at one visit and two at another: what it does by itself from scan to scan is measured on that piano and taken out.

    changed_twice(earlier, later, around, settings)   figure of the change over how far two scans of one visit differ; None: too few tones or places
    others_of(later, earlier, ...)                    the other scan of either visit

One figure tells how far scan B is from scan A. Around one job: how far the tones that fell most have fallen, and how unlike the tones' strengths over the places are. Hits a few
millimetres off, and tones that overlap and are told apart now so and now otherwise, make most of it. They do so between two scans of one visit as well: the mean of
the two such figures is taken off the mean of the four figures from a scan of the one visit to a scan of the other. What is left is the doing of what lies between, or a flaw's. Higher tones, which
alone are too uncertain, count then, too.

Across seasons screws that all differ move tones up and down by as much as a crack does, and change strengths most in the middle of the band, where tones overlap; least of the highest
tones, which hardly reach the screws, and little of the lowest, which lie apart. So two figures are formed, and the larger counts, each beside its limit: how unlike the strengths of the highest tones have become,
which tells iron that has parted; and the mean of the four figures that one scan of either visit would have, with how unlike the lowest have become, which tells a screw that is gone, too.
Ours; chosen on simulated pianos (bench/in_piano.py).
"""

from collections.abc import Callable, Sequence
from functools import partial
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tapscan.records import FloatArray, Scan, ScanForComparison
from tapscan.records.comparison import Around
from tapscan.screening.compare.condition_changes import changed_conditions
from tapscan.screening.compare.repeatability import shared_stations
from tapscan.screening.compressed import not_comparable
from tapscan.screening.piano.measure import FEW, UNLIKE_HZ, UNLIKE_SLOPE, Measured, largest, measure
from tapscan.settings import Settings

TWICE_UNLIKE = 3e-3  # of 1 less the cosine of two patterns: less is how the places were hit
FEW_IN_BAND = 4  # fewer tones tell too little of their part of the band
LOW, HIGH = ("lowest_hz", "twice_low_hz"), ("twice_high_hz", "twice_highest_hz")  # settings of the piano
Two = tuple[Scan, Scan]
Band = tuple[str, str]
Far = Callable[[Scan, Scan, Settings], float | None]  # how far the second is from the first


def changed_twice(earlier: Two, later: Two, around: Around, settings: Settings) -> float | None:
    """What is left of the change."""
    if around == "one job":
        return _left(earlier, later, _far_around_one_job, settings)
    limits = settings.piano
    low, high = (_left(earlier, later, partial(_unlike_between, band), settings) for band in (LOW, HIGH))
    each = [measure(a, b, around, settings).statistic for a, b in product(earlier, later)]
    known = [x for x in each if x is not None]
    if low is None or high is None or len(known) < len(each):
        return None
    return max(float(np.mean(known)) + low, limits.season_twice_limit * high / limits.season_twice_high_limit)


def _left(earlier: Two, later: Two, far: Far, settings: Settings) -> float | None:
    """How far scans of either visit are apart, over how far those of one visit are."""
    between = [far(a, b, settings) for a, b in product(earlier, later)]
    within = [far(*earlier, settings), far(*later, settings)]
    known = [x for x in (*between, *within) if x is not None]
    if len(known) < len(between) + len(within):
        return None
    return float(np.mean(known[: len(between)]) - np.mean(known[len(between) :]))


def others_of(
    later: ScanForComparison,
    earlier: ScanForComparison,
    baselines: Sequence[ScanForComparison],
    again: Sequence[ScanForComparison],
    settings: Settings,
) -> tuple[ScanForComparison, ScanForComparison] | None:
    """One more scan of the earlier visit, of the baseline, and one of the later; None where there are none that are like these."""
    before, after = _other(earlier, baselines), _other(later, again)
    if before is None or after is None or not_comparable([before.scan, after.scan]):
        return None
    return (before, after) if all(_like(s, earlier, settings) for s in (before, after)) else None


def _other(scan: ScanForComparison, others: Sequence[ScanForComparison]) -> ScanForComparison | None:
    """The newest other one of its day and state."""
    same = [o for o in others if o.name != scan.name and _visit(o) == _visit(scan)]
    return max(same, key=lambda o: o.name, default=None)


def _like(scan: ScanForComparison, earlier: ScanForComparison, settings: Settings) -> bool:
    places = len(shared_stations([scan.scan, earlier.scan]))
    unlike = changed_conditions(scan.conditions, [earlier.conditions], places, settings)
    return unlike.refused is None and unlike.frequency_refused is None


def _visit(scan: ScanForComparison) -> tuple[str, str | None]:
    return scan.date[:10], scan.conditions.state


def _far_around_one_job(a: Scan, b: Scan, settings: Settings) -> float | None:
    """How far b is from a."""
    m, limits = measure(a, b, "one job", settings), settings.piano
    f = _earlier_hz(m)
    inside = (f > limits.lowest_hz) & (f < limits.twice_highest_hz)
    alike = (f > limits.lowest_hz) & (f < limits.twice_drops_hz) & (m.pairing.shape_correlation > limits.alike)
    if m.statistic is None or alike.sum() < FEW:
        return None
    fell = np.minimum(_drops(m, settings)[alike], limits.twice_cap)
    return largest(fell, settings) + limits.pattern_weight * _unlike(m, inside)


def _unlike_between(band: Band, a: Scan, b: Scan, settings: Settings) -> float | None:
    """How unlike the strengths of the band's tones are, across seasons."""
    m = measure(a, b, "seasons", settings)
    f, (low, high) = _earlier_hz(m), (getattr(settings.piano, name) for name in band)
    inside = (f > low) & (f < high)
    return None if m.statistic is None or inside.sum() < FEW_IN_BAND else _unlike(m, inside)


def _earlier_hz(m: Measured) -> FloatArray:
    return m.earlier.frequency_hz[m.pairing.pairs[:, 0]]


def _drops(m: Measured, settings: Settings) -> FloatArray:
    """In standard deviations. What fits do not know is not made larger: scans of one visit show it."""
    i, j = m.pairing.pairs.T
    sd = np.hypot(m.earlier.frequency_sd[i], m.later.frequency_sd[j])
    return -m.change / np.hypot(1e-6 * settings.piano.job_ppm, sd)


def _unlike(m: Measured, inside: NDArray[np.bool_]) -> float:
    each = np.log(np.maximum(1 - m.pairing.shape_correlation, 0.0) + TWICE_UNLIKE)
    return float((each - UNLIKE_SLOPE * np.log(_earlier_hz(m) / UNLIKE_HZ))[inside].mean())
