"""Whether some of a plate's modes fell, by the odds over all of them.

    fall_likelihood_ratio(scores)       log likelihood ratio: some modes fell, against none did
    fallen_chance(scores)   for each mode how likely it is one of the fallen
    overdispersion(scores)    by how much the largest rises pass what chance gives

By microphone in a room the scatter of a single mode is wide, and a small crack lifts no mode far out of it, but several a little. So the
evidence of all modes is added: each either stayed, and its score is normal, or is one of a tenth that fell by an unknown amount, exponential
with a mean of two standard deviations. The score of a fallen mode is then an exponentially modified normal, whose density over the normal one has a
closed form (textbook). A crack raises no mode, so large rises show scatter that was not foreseen: all scores are divided by how far the
largest of them pass what chance gives. Ours; how often it is right stands in docs/comparison.md.
"""

import numpy as np

from tapscan.records import FloatArray

FALLEN_SHARE, FALLEN_MEAN = 0.1, 2.0  # of the modes; standard deviations
MOST = 6.0  # log ratio of a single mode; none adds more than ln(1 + 0.1 (e^6 - 1)) = 3.7 to the odds, for a wrong pair is wild but alone
RISES_SHARE, RISES_USUAL, FEW = (
    0.125,
    1.8,
    3,
)  # an eighth of normal scores lies 1.65 above 0 on average; tails of rooms are a little longer
RISES_CAP = 10.0


def fall_likelihood_ratio(scores: FloatArray) -> float:
    """Natural logarithm; 0 favours neither.

    scores : (k,) drops in standard deviations, rises negative.
    """
    return float(np.sum(np.log1p(FALLEN_SHARE * (_ratio(scores) - 1)))) if len(scores) else 0.0


def fallen_chance(scores: FloatArray) -> FloatArray:
    """(k,) 0..1, of each mode by itself, were a tenth of them fallen."""
    fallen = FALLEN_SHARE * _ratio(scores) if len(scores) else np.zeros(0)
    return np.asarray(fallen / (1 - FALLEN_SHARE + fallen))


def _ratio(scores: FloatArray) -> FloatArray:
    return np.asarray(np.exp(np.minimum(_log_ratio(scores / overdispersion(scores)), MOST)))


def overdispersion(scores: FloatArray) -> float:
    """At least 1: mean of the largest eighth of the rises over what chance gives.

    scores : (k,) normalised drops, in standard deviations.
    """
    count = max(FEW, round(RISES_SHARE * len(scores)))
    largest = np.sort(np.minimum(-scores, RISES_CAP))[-count:]
    return max(1.0, float(np.mean(largest)) / RISES_USUAL)


def _log_ratio(z: FloatArray) -> FloatArray:
    """Log density of normal plus exponential over that of the normal alone."""
    from scipy.special import log_ndtr

    apart = z - 1 / FALLEN_MEAN
    return np.asarray(0.5 * np.log(2 * np.pi) - np.log(FALLEN_MEAN) + apart**2 / 2 + log_ndtr(apart))
