"""What the decays say about the iron: whether the metal at one place damps less than the rest.

    place_scores(modes, settings)   PlaceScore per station, most lasting first; empty when there is too little
    spread_score(modes, settings)   SpreadScore of the plate: whether loss goes with place at all; None when there is too little

Each mode's loss factor is set against the plate's own smooth trend over frequency. A mode rings longest
where its own metal damps least, so at every station the deviations are averaged with the mode's energy
there as weight. The score is that average in units of what a random shuffle of the deviations would give:
0 on average, standard deviation 1, whatever the plate's mean damping.

A region is heard at several stations and at none of them fully: a station is one point, a region an area. So the squares of all
stations' scores are summed as well (a variance component test: a score test: a quadratic form against its mean and spread for
deviations without order. It finds more regions than the best single station does.

Ours; its behaviour on simulated plates stands in docs/numbers.md. No iron was measured.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapscan.records import FloatArray, Mode
from tapscan.screening.origins import of_plate
from tapscan.settings import Settings

TREND_DEGREE = 2
WEIGHT_CAP = 6.0  # no single mode may speak for a place alone
SPREAD_CAP, SPREAD_POWER = (
    8.0,
    0.7,
)  # a point tells the energy of the area around it poorly: large values are believed less
OUTLIER = 3.0  # standard deviations; what lies further counts as so far


@dataclass(frozen=True)
class PlaceScore:
    """How the modes strong at one station decay beside the plate's own trend."""

    station: str
    score: float  # standard deviations; negative: less damped than the rest
    loss_ratio: float  # loss factor of the modes strongest there over the plate's trend


@dataclass(frozen=True)
class SpreadScore:
    """Whether the loss of the modes goes with where they move."""

    score: float  # standard deviations over what chance gives
    lasting: bool  # few modes ring on beside the rest (their deviations are skewed that way); else few are dull


def place_scores(modes: Sequence[Mode], settings: Settings) -> list[PlaceScore]:
    """One score a station, lowest first."""
    used, stations = _used(modes, settings)
    if not used:
        return []
    deviation = _deviations(used)
    energy = _energies(used, stations)
    weight = np.minimum(energy / energy.mean(axis=0), WEIGHT_CAP)
    contrast = weight - weight.mean(axis=1, keepdims=True)
    scores = contrast @ deviation / np.sqrt((contrast**2).sum(axis=1) * deviation.var())
    ratios = np.exp(weight @ deviation / weight.sum(axis=1))
    rows = zip(stations, scores, ratios, strict=True)
    return sorted((PlaceScore(s, float(z), float(r)) for s, z, r in rows), key=lambda p: p.score)


def spread_score(modes: Sequence[Mode], settings: Settings) -> SpreadScore | None:
    """One score for the plate."""
    used, stations = _used(modes, settings)
    if not used:
        return None
    x = np.log([m.frequency_hz for m in used])
    trend = np.vander((x - x.mean()) / x.std(), TREND_DEGREE + 1)
    deviation, weight = weighed_deviations(used, trend)
    energy = _energies(used, stations)
    share = np.minimum(energy / energy.mean(axis=0), SPREAD_CAP) ** SPREAD_POWER
    taken, _ = np.linalg.qr(trend * weight[:, None])
    places = (share * weight).T
    places -= taken @ (taken.T @ places)
    y = deviation * weight
    y -= taken @ (taken.T @ y)
    form, free = places @ places.T, len(y) - taken.shape[1]
    mean = np.trace(form) / free
    spread = np.sqrt(2 * (np.sum(form**2) - np.trace(form) ** 2 / free) / (free * (free + 2)))
    return SpreadScore(float((y @ form @ y / (y @ y) - mean) / spread), bool(np.sum(deviation**3) < 0))


def _used(modes: Sequence[Mode], settings: Settings) -> tuple[list[Mode], list[str]]:
    """Modes with a decay between the limits, and the stations; empty when there is too little of either."""
    low, high = settings.region_lowest_hz, settings.region_highest_hz
    used = [m for m in of_plate(modes) if m.loss_factor and low <= m.frequency_hz <= high]
    stations = sorted({s.station for m in used for s in m.strengths})
    enough = len(used) >= settings.region_modes and len(stations) >= settings.region_stations
    return (used, stations) if enough else ([], [])


def weighed_deviations(used: Sequence[Mode], trend: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Log loss factors less their trend, and weights by the plate's own scatter and each decay's uncertainty."""
    y = np.log([m.loss_factor or np.nan for m in used])
    sd = np.array([(m.decay_rate_sd_per_s or 0.0) / (m.decay_rate_per_s or 1.0) for m in used])
    rest = y - trend @ np.linalg.lstsq(trend, y, rcond=None)[0]
    weight = 1 / np.sqrt(_spread(rest) ** 2 + sd**2)
    rest = y - trend @ np.linalg.lstsq(trend * weight[:, None], y * weight, rcond=None)[0]
    most = OUTLIER * _spread(rest)
    return np.clip(rest, -most, most), weight


def _spread(rest: FloatArray) -> float:
    """Standard deviation from the median of the magnitudes, so that a few wild decays do not count."""
    return float(1.4826 * np.median(np.abs(rest))) + 1e-9


def _deviations(modes: Sequence[Mode]) -> FloatArray:
    """Logarithm of the loss factors less a smooth trend over the logarithm of frequency."""
    x = np.log([m.frequency_hz for m in modes])
    y = np.log([m.loss_factor or np.nan for m in modes])
    x = (x - x.mean()) / x.std()
    return np.asarray(y - np.polyval(np.polyfit(x, y, TREND_DEGREE), x))


def _energies(modes: Sequence[Mode], stations: Sequence[str]) -> FloatArray:
    """(stations, modes) energy of each mode at each station; nothing where it was not heard."""
    place = {s: i for i, s in enumerate(stations)}
    energy = np.zeros((len(stations), len(modes)))
    for j, mode in enumerate(modes):
        for s in mode.strengths:
            energy[place[s.station], j] = 10 ** (s.strength_db / 10)
    return energy
