"""How much of the belief each part of the plate holds, from how changes and expectations agree over the modes.

    beliefs(change, expected, fit, parts, settings)   Belief of each part, largest first
    cosines, sharpness_of, shares_of                  its steps, in this order

A candidate is as likely as the cosine says between the roots of the changes seen and of those it would make, over all modes; the candidates
of one part share its belief. The size of the change falls out. Modes that the model fits badly weigh less. How sharply cosines become shares
depends on how well the best candidate explains what is seen and on how well the drawing fits; some doubt is spread over all parts. These were
set so that of flaws given six in ten, six in ten are there (docs/comparison.md); drawing the modes again gives the scatter of each share.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray
from tapscan.settings import Settings
from tapscan.settings.location import Location

AGAIN = 200  # times that the modes are drawn
LEAST_FIT = 0.05
USUAL_LIKENESS, USUAL_FIT = 0.9, 0.8  # where `sharpness` stands as it is


class Belief(Struct, frozen=True):
    """`candidate` is the number of the part's best."""

    part: str
    share: float
    share_sd: float
    candidate: int


def beliefs(
    change: FloatArray, expected: FloatArray, fit: FloatArray, parts: Sequence[str], settings: Settings
) -> list[Belief]:
    """Change : (k,) in the direction of a flaw; what went the other way counts as none. expected : (candidates, k). parts : of each candidate."""
    weight = np.clip(fit, LEAST_FIT, 1.0)
    seen, made = np.sqrt(np.clip(change, 0.0, None)), np.sqrt(np.maximum(expected, 0.0))
    names = list(dict.fromkeys(parts))
    member = np.array([names.index(p) for p in parts])
    cosine = cosines(seen, made, weight[None, :])[:, 0]
    rng = np.random.default_rng(len(change))
    drawn = weight * rng.multinomial(len(change), np.full(len(change), 1 / len(change)), AGAIN)
    sharp, doubt = sharpness_of(float(cosine.max()), float(np.median(fit)), settings.location), settings.location.doubt
    shares = shares_of(cosines(seen, made, drawn), member, len(names), sharp, doubt)
    share = shares_of(cosine[:, None], member, len(names), sharp, doubt)[:, 0]
    best = [int(np.argmax(np.where(member == i, cosine, -np.inf))) for i in range(len(names))]
    found = [Belief(n, float(share[i]), float(shares[i].std()), best[i]) for i, n in enumerate(names)]
    return sorted(found, key=lambda b: -b.share)


def sharpness_of(likeness: float, fit: float, limits: Location) -> float:
    """How sharply cosines become shares. likeness : the best candidate's cosine; fit : of the drawing, as a rule."""
    more = limits.sharper_by_likeness * (likeness - USUAL_LIKENESS) + limits.sharper_by_fit * (fit - USUAL_FIT)
    return float(limits.sharpness * np.exp(more))


def cosines(seen: FloatArray, made: FloatArray, weight: FloatArray) -> FloatArray:
    """(candidates, draws) between what is seen (k,) and what candidates make (candidates, k), both roots. weight : (draws, k)."""
    along = made @ (weight * seen).T
    length = np.sqrt(np.maximum((made**2) @ weight.T, 1e-300) * np.maximum(weight @ seen**2, 1e-300))
    return np.asarray(along / length)


def shares_of(cosine: FloatArray, member: FloatArray, count: int, sharpness: float, doubt: float) -> FloatArray:
    """(parts, draws) of belief, each column one in sum. cosine : (candidates, draws); member : the part of each candidate, by number."""
    likely = np.exp(sharpness * (cosine - cosine.max(axis=0)))
    odds = np.array([likely[member == i].mean(axis=0) for i in range(count)])
    return np.asarray((1 - doubt) * odds / odds.sum(axis=0) + doubt / count)
