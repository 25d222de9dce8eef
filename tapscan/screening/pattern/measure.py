"""The figures of a plate among its sisters.

    lot_of(modes)                 Lot: every reference beside every other
    two_apart(one, other)         what a lot holds of two of them
    flawed_among(lot, limit)      numbers of references that are unlike the others
    without(lot, numbers)         the lot less these
    plate_among(plate, lot)       Among: change of shape over what is usual, and each mode's loss and frequency against the sisters'
    loss_rise(among), drop(among) the statistics, with each mode's own score

Frequency and loss of a mode are held against the mean of the references in which it was found; what all modes of two castings share (thickness, modulus, loss of the iron) is taken
out first. Of frequencies further common factors of casting scatter are regressed out (ridge, from the references' own deviations). A mode's scatter is that of the references
in it, drawn towards the middle of all modes as if PRIOR further references had been seen. Source: ours; limits by bench/pattern.py.
"""

from collections.abc import Callable, Collection, Sequence

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray
from tapscan.screening.pattern.casting_pairs import OwnModes, Pairs, beside, shape_change

FEWEST = 3  # references; of fewer none is judged
PRIOR = 10.0
NORMAL = 1.4826  # sd over the median of the absolute values, normal distribution
TOP_LOSSES, TOP_DROPS = 10, 3
MOST_SCORE = 5.0  # of one mode in a mean: a single mode fitted badly is no rise of losses
FEWEST_MODES = 20  # judged
FACTORS_FROM = 5  # references; fewer tell no common factor but the shift


class Lot(Struct, frozen=True, eq=False):
    """`change` (n, n): of shape, 0 on the diagonal; the scatters are of one casting, relative, None where there are no pairs."""

    modes: tuple[OwnModes, ...]
    change: FloatArray
    frequency_scatter: FloatArray  # (n, n) robust sd over modes, NaN on the diagonal
    loss_scatter: FloatArray

    def __len__(self) -> int:
        return len(self.modes)


class Among(Struct, frozen=True, eq=False):
    """`rise` and `fall` (references, modes): ln of the plate's loss over the reference's, of the reference's frequency over the plate's; NaN where not paired."""

    unlike: float
    rise: FloatArray
    fall: FloatArray
    shift: float  # ln of the references' frequencies over the plate's, shared by all modes, middle of the references


class Scored(Struct, frozen=True, eq=False):
    """`statistic` None: too few modes. `score` (modes,) in the sisters' scatter, NaN where not judged; `value` (modes,) natural logarithm."""

    statistic: float | None
    score: FloatArray
    value: FloatArray


def lot_of(modes: Sequence[OwnModes]) -> Lot:
    """All over the same places."""
    count = len(modes)
    change = np.zeros((count, count))
    moved, lost = np.full((count, count), np.nan), np.full((count, count), np.nan)
    for i in range(count):
        for j in range(i):
            change[i, j], moved[i, j], lost[i, j] = two_apart(modes[i], modes[j])
            change[j, i], moved[j, i], lost[j, i] = change[i, j], moved[i, j], lost[i, j]
    return Lot(tuple(modes), change, moved, lost)


def two_apart(one: OwnModes, other: OwnModes) -> tuple[float, float, float]:
    """Change of shape, and the scatter of a mode's frequency and of its loss in one casting."""
    pairs = beside(one, other)
    moved, lost = _robust(pairs.moved), _robust(_losses(one, other, pairs))
    return shape_change(one, other, pairs.shift), moved / np.sqrt(2), lost / np.sqrt(2)


def without(lot: Lot, numbers: Collection[int]) -> Lot:
    """Nothing is computed anew."""
    kept = [i for i in range(len(lot)) if i not in numbers]
    square = np.ix_(kept, kept)
    return Lot(
        tuple(lot.modes[i] for i in kept), lot.change[square], lot.frequency_scatter[square], lot.loss_scatter[square]
    )


def middle(scatter: FloatArray) -> float | None:
    """Of all pairs that have one. scatter : (n, n), nan where there is none."""
    known = scatter[~np.isnan(scatter)]
    return float(np.median(known)) if len(known) else None


def unlikeness(lot: Lot) -> FloatArray:
    """(n,) of each reference against the others."""
    return np.array([_over(np.delete(lot.change[i], i), without(lot, [i]).change) for i in range(len(lot))])


def _over(changes: FloatArray, among: FloatArray) -> float:
    """Median of the changes against the references, over the mean change among these."""
    usual = among[np.triu_indices(len(among), 1)].mean()
    return float(np.median(changes) / usual)


def flawed_among(lot: Lot, limit: Callable[[int], float]) -> list[int]:
    """The most unlike first; as long as more than FEWEST are left. `limit` by the number of references one is held against."""
    out: list[int] = []
    while len(lot) - len(out) > FEWEST:
        rest = [i for i in range(len(lot)) if i not in out]
        unlike = unlikeness(without(lot, out))
        worst = int(np.argmax(unlike))
        if unlike[worst] <= limit(len(rest) - 1):
            break
        out.append(rest[worst])
    return out


def plate_among(plate: OwnModes, lot: Lot) -> Among:
    """Two references or more."""
    rise, fall = np.full((len(lot), len(plate)), np.nan), np.full((len(lot), len(plate)), np.nan)
    changes, shifts = np.zeros(len(lot)), np.zeros(len(lot))
    for i, other in enumerate(lot.modes):
        pairs = beside(plate, other)
        changes[i], shifts[i] = shape_change(plate, other, pairs.shift), pairs.shift
        rise[i, pairs.index[:, 0]] = -_losses(plate, other, pairs)
        fall[i, pairs.index[:, 0]] = pairs.moved
    return Among(_over(changes, lot.change), rise, fall, float(np.median(shifts)))


def _losses(one: OwnModes, other: OwnModes, pairs: Pairs) -> FloatArray:
    """(k,) ln of the loss of `other` over that of `one`, less what all share."""
    apart = other.log_loss[pairs.index[:, 1]] - one.log_loss[pairs.index[:, 0]]
    known = apart[~np.isnan(apart)]
    return np.asarray(apart - (np.median(known) if len(known) else 0.0))


def _robust(values: FloatArray) -> float:
    known = values[~np.isnan(values)]
    return float(NORMAL * np.median(np.abs(known - np.median(known)))) if len(known) else np.nan


def loss_rise(among: Among) -> Scored:
    """Mean of the TOP_LOSSES largest rises."""
    return _scored(among.rise, TOP_LOSSES, factors=False)


def drop(among: Among) -> Scored:
    """Mean of the TOP_DROPS largest drops."""
    return _scored(among.fall, TOP_DROPS, factors=True)


def _scored(apart: FloatArray, top: int, *, factors: bool) -> Scored:
    score, value = np.full(apart.shape[1], np.nan), np.full(apart.shape[1], np.nan)
    seen = (~np.isnan(apart)).sum(axis=0)
    judged = np.nonzero(seen >= max(2, len(apart) / 2))[0]
    if len(judged) < FEWEST_MODES:
        return Scored(None, score, value)
    part, count = apart[:, judged], seen[judged]
    mean = np.nanmean(part, axis=0)
    deviation = np.nan_to_num(part - mean)
    spread = _spread(part - mean, deviation, count)
    if factors and len(apart) >= FACTORS_FROM:
        mean = _less_factors(mean, deviation, spread)
    value[judged] = mean - np.median(mean)
    score[judged] = value[judged] / (spread * np.sqrt(1 + 1 / count))
    return Scored(float(np.minimum(np.sort(score[judged])[-top:], MOST_SCORE).mean()), score, value)


def _spread(known: FloatArray, deviation: FloatArray, count: FloatArray) -> FloatArray:
    """(modes,) sd of one casting."""
    size = np.abs(known[~np.isnan(known)])
    freedom = np.mean((count - 1) / count)
    pooled = NORMAL * float(np.median(size)) / np.sqrt(freedom)
    own = (deviation**2).sum(axis=0)
    return np.asarray(np.sqrt((PRIOR * max(pooled, 1e-9) ** 2 + own) / (PRIOR + count - 1)))


def _less_factors(mean: FloatArray, deviation: FloatArray, spread: FloatArray) -> FloatArray:
    """What the references' own deviations explain, taken out; in units of each mode's scatter."""
    own, aim = deviation / spread, mean / spread
    gram = own @ own.T
    share = np.linalg.solve(gram + len(aim) * np.eye(len(gram)), own @ aim)
    return np.asarray((aim - own.T @ share) * spread)
