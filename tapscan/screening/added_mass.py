"""Whether the drops look like a weight left on the plate rather than a crack.

    explain(measured, settings)    AddedMass, or None where nothing fell
    station_fits(drops, energy)    share of the drops one weight at each station explains, and how large it is

A point mass m at a place lowers mode n by half of m over the plate's mass times the square of the mode's deflection there
(Rayleigh, first order), so at a station the drops follow the squares of the strengths, and nearly every mode falls. Three figures speak:

* the mean drop from 200 to 600 Hz, as an apparent weight: a clamp is some thousandths to a hundredth of the plate's weight;
* the largest drops there, by themselves and over the mean: a severed strut moves single modes further, small cracks less far;
* the share of the drops that the strengths of one station explain. On its face a high share speaks for a weight AT that station,
  but a crack in a strut excites the very modes that a weight on that strut would, and clamps sit beside the stations: on
  simulated plates it speaks a little against a weight.

So size does most of the work, and place little. The log odds are a logistic model fitted on two simulated patterns
(docs/comparison.md says how often it is right). It gives the likelier of two, never an all-clear: a deep crack of the effect
of a clamp is often called a weight, which is why the advice is to take things off and scan again.
"""

import numpy as np

from tapscan.records import AddedMass, FloatArray
from tapscan.screening.comparison import AGREE_SHARE, Flags, Measured, densest
from tapscan.settings import Settings

FIT_HZ = (60.0, 700.0)  # first order holds, and the modes are well apart
SIZE_HZ = (200.0, 600.0)
AGREE_HZ = 150.0
FLOOR = 1e-5
FEW = 8
MEAN_SQUARE_AT_EDGE = 2.0  # deflection squared at an edge over the plate's mean: 1 inside, up to 4 at a free corner
# Fitted on simulated plates: constant; (ln mean drop - centre)^2; share explained; (ln largest drops - centre)^2;
# ln largest over mean. The constant puts the limit where one crack in forty of the fit's plates passes.
CENTRE_MEAN, CENTRE_TOP = -5.8, -4.5
WEIGHTS = (-1.81, -0.93, -0.77, -2.19, 2.47)


def explain(measured: Measured, settings: Settings) -> AddedMass | None:
    """Weight against crack, for the drops of a measured scan. None with too few modes."""
    f = measured.baseline.table.frequency_hz[measured.earlier_index]
    drops = np.clip(unmoved(measured, f) - measured.frequency.value, 0.0, None)
    heard = measured.baseline.log_frequency.heard[measured.earlier_index] >= min(2, measured.baseline.scans)
    fit, size = heard & _within(f, FIT_HZ), heard & _within(f, SIZE_HZ)
    pattern = measured.baseline.table.pattern[measured.earlier_index]
    if fit.sum() < FEW or size.sum() < FEW or not pattern.shape[1] or not drops[fit].any():
        return None
    shares, _ = station_fits(drops[fit], pattern[fit] ** 2 * pattern.shape[1])
    best = int(np.argmax(shares))
    mean, top = figures(drops[size])
    score = log_odds(mean, top, float(shares[best]))
    return AddedMass(
        station=measured.baseline.stations[best],
        explained=float(shares[best]),
        plate_share=float(2 * np.exp(mean) / MEAN_SQUARE_AT_EDGE),
        score=score,
        limit=settings.mass_limit,
        likelier=score > settings.mass_limit,
    )


def figures(drops: FloatArray) -> tuple[float, float]:
    """Natural logarithms of the mean and of the mean of the three largest drops."""
    return float(np.log(np.mean(drops) + FLOOR)), float(np.log(np.sort(drops)[-3:].mean() + FLOOR))


def log_odds(log_mean: float, log_top: float, explained: float) -> float:
    """Of a weight against a crack; positive speaks for a weight."""
    terms = (1.0, (log_mean - CENTRE_MEAN) ** 2, explained, (log_top - CENTRE_TOP) ** 2, log_top - log_mean)
    return float(np.dot(WEIGHTS, terms))


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
