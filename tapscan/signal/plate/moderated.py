"""Many variances of few degrees of freedom each, held towards what all of them show.

    moderated(ratio, free)      Moderated: each variance ratio and the degrees of freedom it then has

What one mode's places show of its scatter is little; what all modes show is much, but they differ. A scaled inverse chi-square
stands for how the true ratios are spread; each mode's own and that are joined by their degrees of freedom. Smyth, Statistical
Applications in Genetics and Molecular Biology 3 (2004) article 3, sections 3 and 6.2; from memory.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray
from tapscan.signal.plate.special import digamma, tetragamma, trigamma

TINY = 1e-6  # of a ratio: zero has no logarithm
MOST_FREE = 1e5  # as good as endless
STEPS = 50
LEAST_STEP = 1e-8


class Moderated(Struct, frozen=True, eq=False):
    """(M,) both."""

    ratio: FloatArray
    free: FloatArray


def moderated(ratio: FloatArray, free: FloatArray, enough: np.ndarray) -> Moderated:
    """Ratio : (M,) variance over what it should be, of which only those that are `enough` tell. free : (M,) degrees of freedom.

    The others take what these show. At least two must tell.
    """
    prior_free, prior = _prior(ratio[enough], free[enough])
    if prior_free >= MOST_FREE:
        return Moderated(np.full(len(ratio), prior), np.full(len(ratio), MOST_FREE))
    joined = (prior_free * prior + free * ratio) / (prior_free + free)
    return Moderated(np.where(enough, joined, prior), np.where(enough, prior_free + free, prior_free))


def _prior(ratio: FloatArray, free: FloatArray) -> tuple[float, float]:
    """Degrees of freedom and ratio that stand for how the true ratios are spread, by the moments of their logarithms."""
    logs = np.log(np.maximum(ratio, TINY)) - digamma(free / 2) + np.log(free / 2)
    spread = float(np.var(logs, ddof=1) - np.mean(trigamma(free / 2)))
    middle = float(np.mean(logs))
    if spread <= float(trigamma(np.array(MOST_FREE / 2))):
        return MOST_FREE, float(np.exp(middle))
    half = _inverse_trigamma(spread)
    return 2 * half, float(np.exp(middle + float(digamma(np.array(half))) - np.log(half)))


def _inverse_trigamma(value: float) -> float:
    """Newton on 1/trigamma, which is nearly straight; Smyth 2004, appendix."""
    x = 0.5 + 1 / value
    for _ in range(STEPS):
        now = float(trigamma(np.array(x)))
        step = now * (1 - now / value) / float(tetragamma(np.array(x)))
        x += step
        if -step < LEAST_STEP * x:
            break
    return x
