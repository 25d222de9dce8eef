"""Whether the drops look like a weight left on the plate rather than a crack.

    explain(measured, settings)    AddedMass, or None where nothing fell
    station_fits(drops, energy)    share of the drops one weight at each station explains, and how large it is

A point mass m at a place lowers mode n by half of m over the plate's mass times the square of the mode's deflection there
(Rayleigh, first order), so at a station the drops follow the squares of the strengths, and nearly every mode falls. Three figures speak:

* the largest drops from 60 to 200, 200 to 600 and 600 to 1000 Hz: a weight spreads its drops over all three, each of the order a clamp of
  half a kilogram gives; a severed strut goes further, small cracks less far, and a crack in one strut further in one band;
* the geometric mean of the drops over the largest: a weight sits on the nodal lines of some modes, which hardly move;
* the share of the drops that the strengths of one station explain. On its face a high share speaks for a weight AT that station,
  but a crack in a strut excites the very modes that a weight on that strut would, and clamps sit beside the stations: on
  simulated plates a high share is the mark of a crack in a tapped strut, and speaks against a weight.

So size does most of the work, and place less. The log odds are a logistic model fitted on two simulated patterns
(docs/comparison.md says how often it is right). It gives the likelier of two, never an all-clear: a rim crack of the effect
of a clamp is often called a weight, which is why the advice is to take things off and scan again.
"""

from collections.abc import Sequence

import numpy as np

from tapscan.records import AddedMass, FloatArray
from tapscan.screening.comparison import Measured
from tapscan.screening.shared_shift import AGREE_SHARE, Flags, densest
from tapscan.settings import Settings

FIT_HZ = (60.0, 700.0)  # first order holds, and the modes are well apart
BANDS_HZ = ((60.0, 200.0), (200.0, 600.0), (600.0, 1000.0))
AGREE_HZ = 150.0
FLOOR, SMALL = 1e-5, 1e-4
FEW, FEW_IN_BAND = 8, 3
MEAN_SQUARE_AT_EDGE = 2.0  # deflection squared at an edge over the plate's mean: 1 inside, up to 4 at a free corner
# Fitted on simulated plates. Largest drops of each band: weight of the squared distance (ln) from where 0.5 kg puts them.
CENTRES = (-4.7, -4.5, -4.8)
BAND_WEIGHTS = (-0.409, -0.466, -0.541)
SPREAD_WEIGHTS = (-1.390, -1.291)  # ln of the geometric mean over the largest, first two bands
SHARE_WEIGHT, CONSTANT = -8.361, -0.982  # the constant puts the limit where 4 % of the fit's cracks pass


def explain(measured: Measured, settings: Settings) -> AddedMass | None:
    """Weight against crack, for the drops of a measured scan. None with too few modes."""
    f = measured.baseline.table.frequency_hz[measured.earlier_index]
    drops = np.clip(unmoved(measured, f) - measured.frequency.value, 0.0, None)
    heard = measured.baseline.log_frequency.heard[measured.earlier_index] >= min(2, measured.baseline.scans)
    fit, bands = heard & _within(f, FIT_HZ), [drops[heard & _within(f, b)] for b in BANDS_HZ]
    pattern = measured.baseline.table.pattern[measured.earlier_index]
    if fit.sum() < FEW or min(map(len, bands)) < FEW_IN_BAND or not pattern.shape[1] or not drops[fit].any():
        return None
    shares, _ = station_fits(drops[fit], pattern[fit] ** 2 * pattern.shape[1])
    best = int(np.argmax(shares))
    score = log_odds(bands, float(shares[best]))
    return AddedMass(
        station=measured.baseline.stations[best],
        explained=float(shares[best]),
        plate_share=float(2 * np.mean(bands[1]) / MEAN_SQUARE_AT_EDGE),
        score=score,
        limit=settings.mass_limit,
        likelier=score > settings.mass_limit,
    )


def log_odds(bands: Sequence[FloatArray], explained: float) -> float:
    """Of a weight against a crack; positive speaks for a weight.

    bands : drops, relative, >= 0, in each of BANDS_HZ. explained : share one station explains, 0..1.
    """
    top = np.array([np.log(np.sort(b)[-3:].mean() + FLOOR) for b in bands])
    spread = np.array([np.mean(np.log(b + SMALL)) for b in bands]) - top
    size = float(np.dot(BAND_WEIGHTS, (top - CENTRES) ** 2))
    return size + float(np.dot(SPREAD_WEIGHTS, spread[:2])) + SHARE_WEIGHT * explained + CONSTANT


def station_fits(drops: FloatArray, energy: FloatArray) -> tuple[FloatArray, FloatArray]:
    """For each station: share of the squared drops explained (0..1), and the factor on its energies.

    drops : (k,) relative, >= 0. energy : (k, stations) squared strengths, mean 1 over the stations of each mode.
    """
    square = np.maximum((energy**2).sum(axis=0), 1e-300)
    factor = np.maximum(drops @ energy / square, 0.0)
    left = ((drops[:, None] - factor * energy) ** 2).sum(axis=0)
    return np.asarray(np.clip(1 - left / np.sum(drops**2), 0.0, 1.0)), np.asarray(factor)


def unmoved(measured: Measured, frequency_hz: FloatArray) -> float:
    """The change of the modes that did not move: where most agree, else the least fallen tenth.

    The common shift is a robust mean; where a weight lowers nearly all modes it lies too low.
    """
    use = frequency_hz > AGREE_HZ
    x, sd = measured.frequency.value[use], measured.frequency.sd[use]
    if not len(x):
        return 0.0
    value, agree = densest(x, sd)
    return value if agree > AGREE_SHARE else float(np.quantile(x, 0.9))


def _within(frequency_hz: FloatArray, span: tuple[float, float]) -> Flags:
    return np.asarray((frequency_hz > span[0]) & (frequency_hz < span[1]))
