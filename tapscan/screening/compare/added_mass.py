"""Whether the drops look like a weight left on the plate rather than a crack.

    explain(measured, settings)    AddedMass, or None where nothing fell
    weight_features(measured)            the four figures that speak, and the place
    station_fits(drops, energy)    share of the drops one weight at each station explains, and how large it is

A point mass m at a place lowers mode n by half of m over the plate's mass times the square of the mode's deflection there
(Rayleigh, first order), so at a station the drops follow the squares of the amplitudes, and nearly every mode falls. Four figures speak:

* how far the mean drops of five bands lie from those that half a kilogram gives: a severed strut goes further, small cracks less far,
  a crack in one strut further in one band, a crack at the rim less far in the highest;
* how even the drops of a band are: a weight sits on the nodal lines of some modes, which hardly move;
* how many modes lie over those that moved least: the modes with a nodal line under the weight stay together, while a crack leaves
  hardly any mode quite alone and scatters them;
* the share of the drops that the amplitudes of one station explain. On its face a high share speaks for a weight AT that station,
  but a crack in a strut excites the very modes that a weight on that strut would, and clamps sit beside the stations: on
  simulated plates a high share is the mark of a crack in a tapped strut, and speaks against a weight.

The log odds are a logistic model of the four, fitted on two simulated patterns by bench/weight_or_crack.py, which prints the numbers below
(docs/comparison.md says how often it is right); they are the odds where weights and cracks come as often as they did there. It gives the likelier of two, never an all-clear: a change counts as a crack until the weight is found.
"""

import numpy as np
from msgspec import Struct

from tapscan.records import AddedMass, FloatArray
from tapscan.screening.compare.measure import Measured
from tapscan.screening.compare.shared_shift import AGREE_SHARE, Flags, densest
from tapscan.settings import Settings

HEARD_HZ = (60.0, 1500.0)
FIT_HZ = (60.0, 700.0)  # first order holds, and the modes are well apart
SIZE_HZ = (200.0, 600.0)
BANDS_HZ = ((60.0, 200.0), (200.0, 400.0), (400.0, 700.0), (700.0, 1000.0), (1000.0, 1500.0))
AGREE_HZ = 150.0
FLOOR, SMALL = 1e-5, 1e-4
OVER_SD, OVER_LEAST = 2.0, 1e-4  # a mode lies over those that moved least by more than this
FEW, FEW_IN_BAND = 8, 3
MEAN_SQUARE_AT_EDGE = 2.0  # deflection squared at an edge over the plate's mean: 1 inside, up to 4 at a free corner
MEAN_SQUARES = (
    0.5,
    4.0,
)  # least where most modes have a nodal line near: weights on plates of a second simulator showed .5 to 1.2
# Printed by bench/weight_or_crack.py.
CENTRES = (-5.5, -5.6, -6.0, -6.2, -6.4)  # ln of the mean drop that 0.5 kg gives in each band
WEIGHTS = (-0.72, -13.72, -5.49, -59.3)  # distance, evenness, share, over
CONSTANT = -4.8


class WeightFeatures(Struct, frozen=True, eq=False):
    """What speaks for a weight or against it."""

    levels: FloatArray  # (5,) ln of the mean drop in each of BANDS_HZ
    evenness: float  # ln of the geometric over the mean drop, middle of the bands; 0: all alike
    share: float  # of the squared drops that one station explains, 0..1
    over: float  # share of the modes that lie over those that moved least, 0..1
    station: str
    size: float  # mean drop over SIZE_HZ

    def figures(self) -> FloatArray:
        """(4,) as WEIGHTS takes them."""
        distance = float(np.mean((self.levels - CENTRES) ** 2))
        return np.array([distance, self.evenness, self.share, self.over])


def explain(measured: Measured, settings: Settings) -> AddedMass | None:
    """Weight against crack, for the drops of a measured scan. None with too few modes."""
    found = weight_features(measured)
    if found is None:
        return None
    score = log_odds(found)
    return AddedMass(
        station=found.station,
        explained=found.share,
        plate_share=2 * found.size / MEAN_SQUARE_AT_EDGE,
        score=score,
        limit=settings.compare.mass_limit,
        likelier=score > settings.compare.mass_limit,
        between=(2 * found.size / MEAN_SQUARES[1], 2 * found.size / MEAN_SQUARES[0]),
    )


def log_odds(found: WeightFeatures) -> float:
    """Of a weight against a crack; positive speaks for a weight."""
    return float(found.figures() @ WEIGHTS + CONSTANT)


def weight_features(measured: Measured) -> WeightFeatures | None:
    """None where a band holds too few modes, or none fell."""
    f = measured.baseline.table.frequency_hz[measured.earlier_index]
    fall = unmoved(measured, f) - measured.frequency.value
    drops = np.clip(fall, 0.0, None)
    heard = measured.baseline.log_frequency.heard[measured.earlier_index] >= min(2, measured.baseline.scans)
    bands = [drops[heard & _within(f, b)] for b in BANDS_HZ]
    fit, pattern = heard & _within(f, FIT_HZ), measured.baseline.table.pattern[measured.earlier_index]
    if fit.sum() < FEW or min(map(len, bands)) < FEW_IN_BAND or not pattern.shape[1] or not drops[fit].any():
        return None
    shares, _ = station_fits(drops[fit], pattern[fit] ** 2 * pattern.shape[1])
    best, every = int(np.argmax(shares)), heard & _within(f, HEARD_HZ)
    over = -fall > np.maximum(OVER_LEAST, OVER_SD * measured.frequency.sd)
    return WeightFeatures(
        levels=np.array([np.log(b.mean() + FLOOR) for b in bands]),
        evenness=float(np.mean([np.mean(np.log(b + SMALL)) - np.log(b.mean() + SMALL) for b in bands])),
        share=float(shares[best]),
        over=float(np.mean(over[every])),
        station=measured.baseline.stations[best],
        size=float(np.mean(drops[heard & _within(f, SIZE_HZ)])),
    )


def station_fits(drops: FloatArray, energy: FloatArray) -> tuple[FloatArray, FloatArray]:
    """For each station: share of the squared drops explained (0..1), and the factor on its energies.

    drops : (k,) relative, >= 0. energy : (k, stations) squared amplitudes, mean 1 over the stations of each mode.
    """
    square = np.maximum((energy**2).sum(axis=0), 1e-300)
    factor = np.maximum(drops @ energy / square, 0.0)
    left = ((drops[:, None] - factor * energy) ** 2).sum(axis=0)
    return np.asarray(np.clip(1 - left / np.sum(drops**2), 0.0, 1.0)), np.asarray(factor)


def unmoved(measured: Measured, frequency_hz: FloatArray) -> float:
    """The change of the modes that did not move: where most agree, else the least fallen tenth.

    The common shift is a robust mean; where a weight lowers nearly all modes it lies too low.
    frequency_hz : (k,) of the pairs.
    """
    use = frequency_hz > AGREE_HZ
    x, sd = measured.frequency.value[use], measured.frequency.sd[use]
    if not len(x):
        return 0.0
    value, agree = densest(x, sd)
    return value if agree > AGREE_SHARE else float(np.quantile(x, 0.9))


def _within(frequency_hz: FloatArray, span: tuple[float, float]) -> Flags:
    return np.asarray((frequency_hz >= span[0]) & (frequency_hz < span[1]))
