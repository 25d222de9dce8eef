"""What changed between two scans in one quantity, and what makes a finding of it.

Change                                   one quantity of each pair, judged
largest_mean(values, count)              of the largest few
largest_capped(score, top, settings)     the same, no mode counting for more than a cap
"""

from typing import Literal

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray
from tapscan.screening.compare.shared_shift import Flags
from tapscan.settings import Settings

TOP_DROPS = 3
TOP_RISES = 5
HeldBack = Literal["supports", "few tones"]


class Change(Struct, frozen=True, eq=False):
    """One quantity of each pair; (k,) each, nan where unknown."""

    value: FloatArray  # ln(later / baseline), what the modes share taken out
    sd: FloatArray
    score: FloatArray  # positive in the direction of a flaw, in standard deviations
    judged: Flags
    named: Flags  # stands out after control of the false-discovery rate; by_likelihood_ratio: fallen rather than not
    weight: (
        FloatArray  # size of the change of those named; by_likelihood_ratio: of all, times the chance that they fell
    )
    statistic: float | None
    limit: float
    by_likelihood_ratio: bool = (
        False  # the statistic is a log likelihood ratio over all modes; else a mean of the largest scores
    )
    held_back: HeldBack | None = None  # why the statistic is under a limit that the scores alone would pass


def largest_mean(values: FloatArray, count: int) -> float:
    """Mean of the `count` largest values.

    values : (k,) any unit.
    """
    return float(np.mean(np.sort(values)[-count:]))


def largest_capped(score: FloatArray, top: int, settings: Settings) -> float:
    """Of scores (k,) in standard deviations."""
    return largest_mean(np.minimum(score, settings.compare.score_cap), top)
