"""Modes of one casting beside those of another of the same pattern.

    own_modes(reference, stations)  OwnModes: frequencies, losses and amplitude patterns as arrays
    judged_rows(reference, stations) which of the reference's modes these are
    beside(one, other)              Pairs: which mode is which, and the shift that all share
    shape_change(one, other, shift) how unlike the two plates move, 0..1

Castings of one pattern have nearly the same shapes at other frequencies: thickness moves each mode by some tenths of a per cent, and where two modes come close
their shapes mix (they veer). So modes are paired by shape first and by frequency second, one to one (scipy.optimize.linear_sum_assignment). Two modes that mix keep the sum of their
squares at every place, so shapes are compared not mode by mode but as what moves at each place near a frequency: the squares of all patterns, weighted by nearness in frequency.
Patterns are amplitudes without sign. Source: ours; bench/pattern.py counts it.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from tapscan.records import FloatArray, Reference
from tapscan.screening.compare.pairing import assign

LOWEST_HZ, HIGHEST_HZ = 85.0, 1450.0  # below, supports move the modes; above, they overlap
MARGIN = 1.2  # so far beyond, a mode still counts for what moves at the edge
WIDEST, STEP, BAND = 0.09, 2e-3, 0.006  # castings lie apart as a whole by up to so much, relative
REACH, FREQUENCY_SD = 0.05, 0.012  # and mode by mode
UNLIKE_COST, ALONE_COST, FAR = 20.0, 5.0, 1e6  # natural log units
ALIKE = 0.85
NEAR = 0.05  # relative; how far in frequency modes count as near
POINTS = 160  # frequencies, evenly spaced in their logarithm, at which plates are compared
LEAST = 0.02  # of a mode; where neither plate has one nothing is compared
SAME = 0.003  # change that two scans of like castings show anywhere
GRID: FloatArray = np.log(np.geomspace(LOWEST_HZ, HIGHEST_HZ, POINTS))


class OwnModes(Struct, frozen=True, eq=False):
    """Of one scan, in order of frequency, all (n,) but `pattern` (n, places), rows of length 1. Unknown is NaN."""

    log_frequency: FloatArray
    frequency_sd: FloatArray  # relative
    log_loss: FloatArray
    pattern: FloatArray

    def __len__(self) -> int:
        return len(self.log_frequency)


class Pairs(Struct, frozen=True, eq=False):
    """`index` (k, 2): numbers of modes; `moved` (k,) ln(other / one) less the shift that all share."""

    index: NDArray[np.intp]
    shift: float
    moved: FloatArray


def own_modes(plate: Reference, stations: Sequence[str]) -> OwnModes:
    """Over these places, within the band that is judged; modes heard at none of them are left out."""
    amplitude = _amplitudes(plate, stations)
    length = np.linalg.norm(amplitude, axis=1)
    rows = judged_rows(plate, stations)
    hz, loss = plate.frequency_hz[rows], plate.loss_factor[rows]
    return OwnModes(
        np.log(hz),
        plate.frequency_sd_hz[rows] / hz,
        np.log(loss),
        amplitude[rows] / length[rows, None],
    )


def judged_rows(plate: Reference, stations: Sequence[str]) -> NDArray[np.intp]:
    """(k,) numbers of the reference's modes that `own_modes` keeps, in its order."""
    heard = np.linalg.norm(_amplitudes(plate, stations), axis=1) > 0
    within = (plate.frequency_hz >= LOWEST_HZ / MARGIN) & (plate.frequency_hz <= HIGHEST_HZ * MARGIN)
    kept = np.nonzero(within & heard)[0]
    return np.asarray(kept[np.argsort(plate.frequency_hz[kept], kind="stable")])


def _amplitudes(plate: Reference, stations: Sequence[str]) -> FloatArray:
    columns = [plate.stations.index(s) for s in stations]
    return np.asarray(np.nan_to_num(10 ** (plate.amplitude_db[:, columns] / 20)))


def beside(one: OwnModes, other: OwnModes) -> Pairs:
    """`one` and `other` over the same places."""
    if not len(one) or not len(other):
        return Pairs(np.empty((0, 2), dtype=np.intp), 0.0, np.empty(0))
    alike = one.pattern @ other.pattern.T
    apart = other.log_frequency[None, :] - one.log_frequency[:, None]
    shift = _shared(apart, alike)
    off = apart - shift
    cost = UNLIKE_COST * (1 - alike) + 0.5 * (off / FREQUENCY_SD) ** 2
    index = assign(np.where(np.abs(off) < REACH, cost, FAR), ALONE_COST)
    return Pairs(index, shift, off[index[:, 0], index[:, 1]])


def _shared(apart: FloatArray, alike: FloatArray) -> float:
    """The shift that most pairs of like pattern agree on."""
    shifts = np.arange(-WIDEST, WIDEST + STEP, STEP)
    order = np.argsort(apart, axis=None)
    place, weight = apart.ravel()[order], np.maximum(alike - ALIKE, 0.0).ravel()[order]
    total = np.concatenate([[0.0], np.cumsum(weight)])
    votes = total[np.searchsorted(place, shifts + BAND)] - total[np.searchsorted(place, shifts - BAND)]
    near = np.abs(place - shifts[int(np.argmax(votes))]) < BAND
    return float(np.average(place[near], weights=weight[near])) if weight[near].sum() > 0 else 0.0


def shape_change(one: OwnModes, other: OwnModes, shift: float) -> float:
    """Geometric mean over GRID of the change of what moves there, so that one mode heard on one plate alone does not rule; `shift` as `beside` finds it."""
    here, there = _motion(one, 0.0), _motion(other, shift)
    apart = ((np.sqrt(here) - np.sqrt(there)) ** 2).sum(axis=1)
    share = apart / (here.sum(axis=1) + there.sum(axis=1) + LEAST)
    return float(np.exp(np.mean(np.log(share + SAME))))


def _motion(plate: OwnModes, shift: float) -> FloatArray:
    """(POINTS, places) squares of the patterns, weighted by nearness in frequency."""
    far = (GRID[:, None] - (plate.log_frequency - shift)[None, :]) / NEAR
    return np.asarray(np.exp(-0.5 * far**2) @ plate.pattern**2)
