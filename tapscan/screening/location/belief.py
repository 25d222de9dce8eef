"""How much of the belief each part of the plate holds, from how changes and expectations agree over the modes.

    beliefs(change, expected, fit, parts, sharpness)   Belief of each part, largest first

A part is as likely as the best of its candidates; a candidate by the cosine between the roots of the changes seen and of those it would
make, over all modes. The size of the change falls out. Modes that the model fits badly weigh less. Cosines become shares by one factor, set
so that of flaws given six in ten, six in ten are there (docs/comparison.md); drawing the modes again gives the scatter of each share.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapscan.records import FloatArray

AGAIN = 200  # times that the modes are drawn
LEAST_FIT = 0.05


@dataclass(frozen=True)
class Belief:
    """`candidate` is the number of the part's best."""

    part: str
    share: float
    share_sd: float
    candidate: int


def beliefs(
    change: FloatArray, expected: FloatArray, fit: FloatArray, parts: Sequence[str], sharpness: float
) -> list[Belief]:
    """Change : (k,) in the direction of a flaw; what went the other way counts as none. expected : (candidates, k). parts : of each candidate."""
    weight = np.clip(fit, LEAST_FIT, 1.0)
    seen, made = np.sqrt(np.clip(change, 0.0, None)), np.sqrt(np.maximum(expected, 0.0))
    names = list(dict.fromkeys(parts))
    member = np.array([names.index(p) for p in parts])
    cosine = _cosines(seen, made, weight[None, :])[:, 0]
    rng = np.random.default_rng(len(change))
    drawn = weight * rng.multinomial(len(change), np.full(len(change), 1 / len(change)), AGAIN)
    shares = _shares(_cosines(seen, made, drawn), member, len(names), sharpness)
    share = _shares(cosine[:, None], member, len(names), sharpness)[:, 0]
    best = [int(np.argmax(np.where(member == i, cosine, -np.inf))) for i in range(len(names))]
    found = [Belief(n, float(share[i]), float(shares[i].std()), best[i]) for i, n in enumerate(names)]
    return sorted(found, key=lambda b: -b.share)


def _cosines(seen: FloatArray, made: FloatArray, weight: FloatArray) -> FloatArray:
    """(candidates, draws). weight : (draws, k)."""
    along = made @ (weight * seen).T
    length = np.sqrt(np.maximum((made**2) @ weight.T, 1e-300) * np.maximum(weight @ seen**2, 1e-300))
    return np.asarray(along / length)


def _shares(cosine: FloatArray, member: FloatArray, count: int, sharpness: float) -> FloatArray:
    """(parts, draws), each column one in sum."""
    best = np.array([cosine[member == i].max(axis=0) for i in range(count)])
    odds = np.exp(sharpness * (best - best.max(axis=0)))
    return np.asarray(odds / odds.sum(axis=0))
