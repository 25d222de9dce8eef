"""What all modes did together between two scans: warmth, finish, another balance of the supports.

shared_shift(apart, sd, judged)   common log ratio of frequencies, and its sd
densest(values, sd)               the value that most others agree with
agree(apart, sd)                  which lie within scatter of nothing
"""

import numpy as np
from numpy.typing import NDArray

from tapscan.records import FloatArray
from tapscan.screening.compare.pairing import robust_mean

Flags = NDArray[np.bool_]
AGREE_SD, AGREE_LEAST = 3.0, 6e-5  # modes that agree within this have not moved against each other
AGREE_SHARE = 0.25


def shared_shift(apart: FloatArray, sd: FloatArray, judged: Flags) -> tuple[float, float]:
    """(k,) log ratios of paired modes, the sd of each, and which count (none: all do): the common log ratio and its sd.

    Where enough modes agree, their ratio; drops of many others would pull a mean down.
    """
    use = judged if judged.any() else np.ones(len(apart), dtype=bool)
    if not len(apart):
        return 0.0, 0.0
    x, s = apart[use], sd[use]
    shift = robust_mean(x, s)
    centre, agree = densest(x, s)
    if agree > AGREE_SHARE:
        near = np.abs(x - centre) < np.maximum(AGREE_SD * s, AGREE_LEAST)
        shift = robust_mean(x[near], s[near])
    spread = 1.4826 * float(np.median(np.abs(x - shift)))
    return shift, spread / np.sqrt(use.sum())


def agree(left: FloatArray, sd: FloatArray) -> Flags:
    """(k,) which of the changes, the shared one taken out, are nothing but scatter."""
    return np.asarray(np.abs(left) < np.maximum(AGREE_SD * sd, AGREE_LEAST))


def densest(values: FloatArray, sd: FloatArray) -> tuple[float, float]:
    """The value that most others agree with within scatter (the higher of equals), and the share that does.

    values, sd : (k,) in one unit.
    """
    width = np.maximum(AGREE_SD * sd, AGREE_LEAST)
    weight = 1 / width  # a wide scatter agrees with anything
    agree = (np.abs(values[:, None] - values[None, :]) < np.minimum(width[:, None], width[None, :])) @ weight
    agree = agree / weight.sum()
    best = np.lexsort((values, np.round(agree, 2)))[-1]
    return float(values[best]), float(agree[best])
