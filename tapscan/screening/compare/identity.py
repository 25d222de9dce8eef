"""Whether two scans are of one plate, and whether its places were tapped in one order: from modes alone, no sound.

    not_judged(earlier, later, settings)    why nothing can be told, or None
    fingerprint(earlier, later, settings)   Fingerprint: how many modes are heard again, and how alike the patterns are
    whose(found, settings)                  "same", "another casting", "another plate", or "unclear"
    exchanged(earlier, later, settings)     groups of places that were tapped in each other's stead

Castings of one pattern have nearly the same mode shapes at other frequencies: some 1 % apart mode by mode, up and down, by their thickness. One plate's
own frequencies repeat to some parts in 10,000 once a shared shift is out. A crack or a weight lowers some modes and leaves others; a severed strut or a
large crack at the rim leaves few frequencies, but changes the shapes as well. So "another casting" asks for alike shapes at other frequencies. All simulated.

Exchanged places: the amplitudes of the modes at one place, each mode over its own mean, are that place's mark. Marks of one place correlate from scan to scan; the
best assignment of later to earlier places (scipy.optimize.linear_sum_assignment) shows which were exchanged. Ours; counted by bench/identity.py.
"""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tapscan.places import IN_PIANO
from tapscan.records import Fingerprint, FloatArray, Scan
from tapscan.screening.compare.pairing import CHANCE_CORRELATION, ModeTable, assign, mode_table, shape_correlation
from tapscan.screening.mode_origins import of_plate
from tapscan.settings import Settings

Whose = Literal["same", "another casting", "another plate", "unclear"]
SHIFT_STEP, SHIFT_BAND = 1e-4, 4e-4  # relative
ALIKE, VERY_ALIKE = 0.85, 0.95  # cosine of amplitude patterns
CASTING_SHIFT, CASTING_STEP, CASTING_BAND = 0.09, 2e-3, 0.01  # castings lie apart as a whole by up to so much, relative
CASTING_REACH, CASTING_SD = 0.035, 0.012  # and mode by mode
UNLIKE_COST, ALONE_COST, FAR = 20.0, 4.0, 1e6  # natural log units
ROSE = 1.5e-3  # relative; more than supports raise a mode
MATCHED = 1e-3  # relative; modes this near tell of places
FLOOR_DB = 3.0  # a mode not heard at a place is taken to be so much fainter there than where it is faintest


def not_judged(earlier: Scan, later: Scan, settings: Settings) -> str | None:
    """In words, for a reason."""
    limits = settings.identity
    if earlier.state in IN_PIANO or later.state in IN_PIANO:
        return "in the piano strings, case and room move the modes too"
    if len(_shared(earlier, later)) < limits.stations:
        return f"fewer than {limits.stations:.0f} places in common"
    if min(len(list(of_plate(s.modes))) for s in (earlier, later)) < limits.modes:
        return f"fewer than {limits.modes:.0f} modes"
    return None


def fingerprint(earlier: Scan, later: Scan, settings: Settings) -> Fingerprint:
    """Of scans that `not_judged` lets pass."""
    before, after, apart = _beside(earlier, later, settings)
    alike = shape_correlation(before, after)
    sd = np.hypot(before.frequency_sd[:, None], after.frequency_sd[None, :])
    again = (np.abs(apart) < np.maximum(settings.identity.near, 2 * sd)) & (alike > ALIKE)
    pairs = _by_pattern(apart, alike)
    like, moved = alike[pairs[:, 0], pairs[:, 1]], apart[pairs[:, 0], pairs[:, 1]]
    very, least = like > VERY_ALIKE, min(alike.shape)
    return Fingerprint(
        heard_again=float(min(again.any(axis=0).sum(), again.any(axis=1).sum()) / least),
        alike=float(very.sum() / least),
        shape_correlation=float(like.mean()) if len(like) else 0.0,
        rose=float(np.mean(moved[very] > ROSE)) if very.any() else 0.0,
    )


def whose(found: Fingerprint, settings: Settings) -> Whose:
    """`unclear`: the plate changed much, or little was heard; no ground to ask."""
    limits = settings.identity
    if found.heard_again >= limits.same_share:
        return "same"
    both_ways = found.heard_again < limits.doubtful_share and found.rose > limits.rose_share
    if found.alike > limits.pattern_share and (found.heard_again < limits.other_share or both_ways):
        return "another casting"
    if found.heard_again < limits.stranger_share and found.shape_correlation < limits.stranger_correlation:
        return "another plate"
    return "unclear"


def exchanged(earlier: Scan, later: Scan, settings: Settings) -> tuple[tuple[str, ...], ...]:
    """Of scans of one plate, rings: what stands at the next of a ring is of the one before it. Empty where every place is in its place, or too few modes are heard again to tell."""
    before, after, apart = _beside(earlier, later, settings)
    off = np.abs(apart)
    there, back = off.argmin(axis=1), off.argmin(axis=0)
    rows = np.array([i for i, j in enumerate(there) if back[j] == i and off[i, j] < MATCHED], dtype=int)
    if len(rows) < max(settings.identity.modes, settings.identity.doubtful_share * min(off.shape)):
        return ()
    marks = _marks(before.pattern[rows]).T @ _marks(after.pattern[there[rows]])
    groups = [g for g in _groups(marks) if _gain(marks, g) > settings.identity.exchanged * len(g)]
    return tuple(tuple(before.stations[i] for i in group) for group in groups)


def _shared(earlier: Scan, later: Scan) -> list[str]:
    """In the order tapped."""
    here = {s.station for s in later.strikes if s.usable}
    return list(dict.fromkeys(s.station for s in earlier.strikes if s.usable and s.station in here))


def _beside(earlier: Scan, later: Scan, settings: Settings) -> tuple[ModeTable, ModeTable, FloatArray]:
    """Both scans' modes, and (n, m) ln(later / earlier) less the shift that most alike pairs share, within what one plate's may be."""
    stations = _shared(earlier, later)
    before, after = (mode_table(list(of_plate(s.modes)), stations) for s in (earlier, later))
    apart = after.log_frequency[None, :] - before.log_frequency[:, None]
    widest = settings.identity.widest_shift
    weight = np.maximum(shape_correlation(before, after) - CHANCE_CORRELATION, 0.0) ** 2 + 1e-3
    shift = _densest(apart, weight, np.arange(-widest, widest + SHIFT_STEP, SHIFT_STEP), SHIFT_BAND)
    return before, after, np.asarray(apart - shift)


def _densest(apart: FloatArray, weight: FloatArray, shifts: FloatArray, band: float) -> float:
    reached = (apart > shifts[0] - 2 * band) & (apart < shifts[-1] + 2 * band)  # by any shift: most are not, by far
    apart, weight = apart[reached], weight[reached]
    votes = [float(weight[np.abs(apart - shift) < band].sum()) for shift in shifts]
    return float(shifts[int(np.argmax(votes))])


def _by_pattern(apart: FloatArray, alike: FloatArray) -> NDArray[np.intp]:
    """(k, 2) pairs by pattern first, as castings of one pattern would pair."""
    shifts = np.arange(-CASTING_SHIFT, CASTING_SHIFT + CASTING_STEP, CASTING_STEP)
    off = apart - _densest(apart, np.maximum(alike - ALIKE, 0.0), shifts, CASTING_BAND)
    cost = UNLIKE_COST * (1 - alike) + 0.5 * (off / CASTING_SD) ** 2
    return assign(np.where(np.abs(off) < CASTING_REACH, cost, FAR), ALONE_COST)


def _marks(amplitude: FloatArray) -> FloatArray:
    """(modes, places) in dB, each mode over its own mean and each place over its own, of length 1 a place."""
    faintest = np.where(amplitude > 0, amplitude, np.inf).min(axis=1, keepdims=True) * 10 ** (-FLOOR_DB / 20)
    level = 20 * np.log10(np.where(amplitude > 0, amplitude, np.where(np.isfinite(faintest), faintest, 1.0)))
    level = level - level.mean(axis=1, keepdims=True)
    level = level - level.mean(axis=0, keepdims=True)
    return np.asarray(level / np.maximum(np.linalg.norm(level, axis=0, keepdims=True), 1e-12))


def _groups(marks: FloatArray) -> list[tuple[int, ...]]:
    """Cycles of the best assignment; (places, places) correlation of earlier with later ones."""
    from scipy.optimize import linear_sum_assignment  # a tenth of a second, which a single scan need not pay

    _, goes = linear_sum_assignment(-marks)
    left, groups = {i for i, j in enumerate(goes) if i != j}, []
    while left:
        group = [min(left)]
        while goes[group[-1]] != group[0]:
            group.append(int(goes[group[-1]]))
        left -= set(group)
        groups.append(tuple(group))
    return groups


def _gain(marks: FloatArray, group: tuple[int, ...]) -> float:
    """Of correlation, summed over the group."""
    return float(sum(marks[i, j] - marks[i, i] for i, j in zip(group, (*group[1:], group[0]), strict=True)))
