"""What the decays say about the iron: whether the metal of one part of the plate damps less, or more, than the rest.

    area_score(modes, layout, settings)   AreaScore of the plate; None when there is too little to tell

Each mode's loss factor is set against the plate's own smooth trend over frequency. A mode rings longest where its own metal damps least.
For every area (screening/regions.py) the deviations are held against what they would be, were the iron of that area alone chilled: the
correlation in units of what chance gives is its z, and exp(z^2 / 2) its likelihood ratio where the amount fits best. Nobody knows beforehand which
area it is, so these are averaged over all areas, each sign by itself, and written as the z that one single area would need for as much:
sqrt(2 ln mean). It is about 0.8 on a plate of one iron.

Sound iron damps smoothly by place and thickness too (a measured grey-iron rotor by about a third, doi 10.1007/s11661-016-3580-x). So deviations are held against at least the scatter that such iron makes, and
where an area seems dull what goes evenly along the plate or across it is taken out first; for an area that rings on that would take the area out with it.

How much of a mode's energy lies in an area is told by the amplitudes at its places, a point telling of the iron around it poorly: large values
are believed less. Ours; how often it is right on simulated plates stands in docs/rules.md. No iron was measured.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from tapscan.places import Layout
from tapscan.records import FloatArray, Mode
from tapscan.screening.compare.shared_shift import Flags
from tapscan.screening.mode_origins import of_plate
from tapscan.screening.regions import areas_of, positions_of
from tapscan.settings import Settings

TREND_DEGREE = 2
ENERGY_CAP, ENERGY_POWER = 8.0, 0.7
OUTLIER = 3.0  # standard deviations; what lies further counts as so far
CHILLED_SHARE, CHILLED_LOSS = (
    0.17,
    0.08,
)  # share of the plate and loss beside the rest's that a chilled area is thought of with
MOST_SHARE = 0.95
LEAST_SCATTER = (
    0.13  # of ln loss; sound iron damps by place, and no area counts for standing out of less (docs/rules.md)
)
FEW_PLACES = 4
STRONGEST = 0.25  # of the modes; the loss of these is told beside that of the others


TREND = "loss beside the plate's trend"  # as the conditions of both rules name it
TREND_MEANING = (TREND, "1: like the plate's other tones; less rings longer, more dies sooner")


class Area(Struct, frozen=True):
    """The likeliest area, and what its iron does."""

    stations: tuple[str, ...]  # those that tell most by themselves come first
    loss_ratio: (
        float  # loss factor of the quarter of the modes strongest there over that of the others, trend taken out
    )


class AreaScore(Struct, frozen=True):
    """Whether some area damps less than the rest, or more; scores in standard deviations, about 0.8 where nothing does."""

    lasting: float
    dull: float
    lasting_area: Area
    dull_area: Area
    dull_uneven: float = (
        0.0  # dull, with what goes evenly over the plate left in: an area that rings on must beat this, too
    )


def area_score(modes: Sequence[Mode], layout: Layout | None, settings: Settings) -> AreaScore | None:
    """Of a scan's modes. A station whose position the layout does not tell is an area by itself."""
    used, stations = _used(modes, settings)
    if not used:
        return None
    positions = positions_of(layout, stations)
    areas = areas_of(positions)
    x = np.log([m.frequency_hz for m in used])
    trend = np.vander((x - x.mean()) / x.std(), TREND_DEGREE + 1)
    energy = _energies(used, stations)
    share = _shares(energy, areas)
    long = _tried(used, trend, share, areas)
    dull = _tried(used, np.column_stack([trend, *_centres(energy, positions)]), share, areas)
    return AreaScore(
        _averaged(long.z), _averaged(-dull.z), long.told(1, stations), dull.told(-1, stations), _averaged(-long.z)
    )


class _Tried(Struct, frozen=True, eq=False):
    """Every area tried on the losses, a trend taken out of both."""

    z: FloatArray  # (areas,)
    deviation: FloatArray  # (modes,)
    share: FloatArray  # (areas, modes)
    areas: Flags

    def told(self, sign: int, stations: Sequence[str]) -> Area:
        """The likeliest area of less loss (sign 1) or more (-1)."""
        best = int(np.argmax(sign * self.z))
        ones = self.areas.sum(axis=1) == 1
        single = dict(zip(np.argmax(self.areas[ones], axis=1), self.z[ones], strict=True))
        places = sorted(np.nonzero(self.areas[best])[0], key=lambda k: -sign * single[k])
        return Area(tuple(stations[int(k)] for k in places), _loss_ratio(self.share[best], self.deviation))


def _tried(used: Sequence[Mode], trend: FloatArray, share: FloatArray, areas: Flags) -> _Tried:
    deviation, weight = weighed_deviations(used, trend)
    z = _scores(np.log(1 - (1 - CHILLED_LOSS) * share), deviation, weight, trend)
    return _Tried(z, deviation, share, areas)


def _centres(energy: FloatArray, positions: FloatArray) -> list[FloatArray]:
    """Where along the plate and across it each mode's energy lies, (modes,) each; none where the places are not known."""
    known = np.isfinite(positions).all(axis=1)
    if known.sum() < FEW_PLACES:
        return []
    believed = np.minimum(energy / energy.mean(axis=0), ENERGY_CAP)[known] ** ENERGY_POWER
    at = believed.T @ positions[known] / np.maximum(believed.sum(axis=0)[:, None], 1e-300)
    return [column - column.mean() for column in at.T if column.std() > 0]


def _loss_ratio(share: FloatArray, deviation: FloatArray) -> float:
    order = np.argsort(share)
    strongest = round(STRONGEST * len(order))
    return float(np.exp(deviation[order[-strongest:]].mean() - deviation[order[:-strongest]].mean()))


def _averaged(z: FloatArray) -> float:
    return float(np.sqrt(2 * np.log(np.mean(np.exp(np.maximum(z, 0.0) ** 2 / 2)))))


def _shares(energy: FloatArray, areas: Flags) -> FloatArray:
    """(areas, modes) share of each mode's energy in each area, as if the area were a chilled one's part of the plate."""
    believed = np.minimum(energy / energy.mean(axis=0), ENERGY_CAP) ** ENERGY_POWER
    inside = areas @ believed / areas.sum(axis=1, keepdims=True)
    return np.asarray(np.clip(CHILLED_SHARE * inside / believed.mean(axis=0), 0.0, MOST_SHARE))


def _scores(wanted: FloatArray, deviation: FloatArray, weight: FloatArray, trend: FloatArray) -> FloatArray:
    """(areas,) correlation of each wanted course with the deviations, weighed, trend taken out of both, times the root of what is free."""
    taken, _ = np.linalg.qr(trend * weight[:, None])
    courses, rest = (wanted * weight).T, deviation * weight
    courses, rest = (v - taken @ (taken.T @ v) for v in (courses, rest))
    variance = max(
        rest @ rest / (len(rest) - taken.shape[1]), 1.0
    )  # weights of 1 over sd: less than 1 where the least scatter stands for smooth iron
    scale = np.sqrt((courses**2).sum(axis=0) * variance)
    return np.asarray(courses.T @ rest / np.where(scale > 0, scale, np.inf))


def _used(modes: Sequence[Mode], settings: Settings) -> tuple[list[Mode], list[str]]:
    """Modes with a decay between the limits, and the stations; empty when there is too little of either."""
    low, high = settings.iron.lowest_hz, settings.iron.highest_hz
    used = [m for m in of_plate(modes) if m.loss_factor and m.amplitudes and low <= m.frequency_hz <= high]
    stations = sorted({s.station for m in used for s in m.amplitudes})
    enough = len(used) >= settings.iron.modes and len(stations) >= settings.iron.stations
    return (used, stations) if enough else ([], [])


def weighed_deviations(used: Sequence[Mode], trend: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Log loss factors less their trend, and weights by the plate's own scatter and each decay's uncertainty.

    trend : (m, t) columns over the m modes. Returns two (m,) arrays.
    """
    y = np.log([m.loss_factor or np.nan for m in used])
    sd = np.array([m.decay_rate.relative_sd or 0.0 for m in used])
    rest = y - trend @ np.linalg.lstsq(trend, y, rcond=None)[0]
    weight = 1 / np.sqrt(max(_spread(rest), LEAST_SCATTER) ** 2 + sd**2)
    rest = y - trend @ np.linalg.lstsq(trend * weight[:, None], y * weight, rcond=None)[0]
    most = OUTLIER * _spread(rest)
    return np.clip(rest, -most, most), weight


def _spread(rest: FloatArray) -> float:
    """Standard deviation from the median of the magnitudes, so that a few wild decays do not count."""
    return float(1.4826 * np.median(np.abs(rest))) + 1e-9


def _energies(modes: Sequence[Mode], stations: Sequence[str]) -> FloatArray:
    """(stations, modes) energy of each mode at each station; nothing where it was not heard."""
    place = {s: i for i, s in enumerate(stations)}
    energy = np.zeros((len(stations), len(modes)))
    for j, mode in enumerate(modes):
        for s in mode.amplitudes:
            energy[place[s.station], j] = 10 ** (s.amplitude_db / 10)
    return energy
