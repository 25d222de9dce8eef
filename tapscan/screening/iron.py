"""What the decays say about the iron: whether the metal at one place damps less than the rest.

    place_scores(modes, settings)   PlaceScore per station, most lasting first; empty when there is too little

Each mode's loss factor is set against the plate's own smooth trend over frequency. A mode rings longest
where its own metal damps least, so at every station the deviations are averaged with the mode's energy
there as weight. The score is that average in units of what a random shuffle of the deviations would give:
0 on average, standard deviation 1, whatever the plate's mean damping.

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


@dataclass(frozen=True)
class PlaceScore:
    """How the modes strong at one station decay beside the plate's own trend."""

    station: str
    score: float  # standard deviations; negative: less damped than the rest
    loss_ratio: float  # loss factor of the modes strongest there over the plate's trend


def place_scores(modes: Sequence[Mode], settings: Settings) -> list[PlaceScore]:
    """One score a station, lowest first."""
    low, high = settings.region_lowest_hz, settings.region_highest_hz
    used = [m for m in of_plate(modes) if m.loss_factor and low <= m.frequency_hz <= high]
    stations = sorted({s.station for m in used for s in m.strengths})
    if len(used) < settings.region_modes or len(stations) < settings.region_stations:
        return []
    deviation = _deviations(used)
    energy = _energies(used, stations)
    weight = np.minimum(energy / energy.mean(axis=0), WEIGHT_CAP)
    contrast = weight - weight.mean(axis=1, keepdims=True)
    scores = contrast @ deviation / np.sqrt((contrast**2).sum(axis=1) * deviation.var())
    ratios = np.exp(weight @ deviation / weight.sum(axis=1))
    rows = zip(stations, scores, ratios, strict=True)
    return sorted((PlaceScore(s, float(z), float(r)) for s, z, r in rows), key=lambda p: p.score)


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
