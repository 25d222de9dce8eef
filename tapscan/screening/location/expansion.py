"""Measured mode patterns spread over the iron with a rough model: what each mode bends where.

    expanded(patterns, model, places, settings)   Expansion: bending across each cut and motion at each point, expected squares
    scale_of(...)                                 by how much the model's frequencies are to be taken higher

Each measured mode's signed pattern over the places is taken as a sum of the model's shapes whose frequencies lie near its own (ridge regression with
weights that fall with the distance in ln frequency, read as a prior: the expected square of what is looked for then counts what the places leave
open). What is told of a place from all the others says how well the model fits. No frequency of the model is trusted but in
order and scale, and the scale is the one that fits best.
"""

from dataclasses import dataclass

import numpy as np

from tapscan.model.rough import RoughModel
from tapscan.records import FloatArray
from tapscan.settings import Settings

SCALES = np.exp(np.linspace(-0.45, 0.45, 19))
SCALE_BELOW_HZ = 600.0  # the lower modes settle the scale
LEAST_TOLD = 6  # places at which a mode's sign must be known
WORST_FIT = -1.0


@dataclass(frozen=True, eq=False)
class Patterns:
    """Modes over the places; nan where the sign is not told."""

    frequency_hz: FloatArray  # (k,)
    motion: FloatArray  # (k, places), signed, any scale for each mode


@dataclass(frozen=True, eq=False)
class Expansion:
    """Expected squares, each mode of unit modal mass."""

    bending: FloatArray  # (cuts, k) squared moment over stiffness, mean along the cut
    motion: FloatArray  # (points, k) squared deflection, 1/kg
    fit: FloatArray  # (k,) share of the pattern told from the other places, at most 1
    scale: float

    @property
    def middle_fit(self) -> float:
        """Of the modes."""
        return float(np.median(self.fit)) if len(self.fit) else 0.0


def expanded(patterns: Patterns, model: RoughModel, places: FloatArray, settings: Settings) -> Expansion:
    """`places` (p, 2), each 0..1 of the picture."""
    shape = np.asarray(model.at(places), dtype=float)
    scale = scale_of(patterns, model, shape, settings)
    cuts, samples = model.bending.shape[:2]
    targets = np.vstack([model.bending.reshape(cuts * samples, -1), model.deflection]).astype(float)
    squares, fits = [], []
    for row, hz in zip(patterns.motion, patterns.frequency_hz, strict=True):
        solved = _Solved(row, shape, _weights(hz, scale * model.frequency_hz, settings), settings)
        squares.append(solved.squares(targets))
        fits.append(solved.fit)
    every = np.array(squares).reshape(len(squares), len(targets)).T
    bending = every[: cuts * samples].reshape(cuts, samples, -1).mean(axis=1)
    return Expansion(bending, every[cuts * samples :], np.array(fits), scale)


def scale_of(patterns: Patterns, model: RoughModel, shape: FloatArray, settings: Settings) -> float:
    """Of SCALES the one by which the places tell each other best. `shape` (places, n): the model's at the places."""
    low = np.nonzero(patterns.frequency_hz < SCALE_BELOW_HZ)[0]
    use = low if len(low) else np.arange(len(patterns.frequency_hz))
    told = []
    for scale in SCALES:
        fits = [
            _Solved(
                patterns.motion[k],
                shape,
                _weights(patterns.frequency_hz[k], scale * model.frequency_hz, settings),
                settings,
            ).fit
            for k in use
        ]
        told.append(float(np.mean(np.maximum(fits, WORST_FIT))) if fits else 0.0)
    return float(SCALES[int(np.argmax(told))])


def _weights(hz: float, model_hz: FloatArray, settings: Settings) -> FloatArray:
    """(n,) of the model's modes for one measured mode."""
    return np.asarray(np.exp(-0.5 * (np.log(hz / model_hz) / settings.location.window) ** 2))


class _Solved:
    """One mode's ridge regression."""

    def __init__(self, motion: FloatArray, shape: FloatArray, weight: FloatArray, settings: Settings) -> None:
        known = np.isfinite(motion)
        y, phi = motion[known], shape[known]
        self.weight, self.weighted = weight, phi * weight
        gram = self.weighted @ phi.T
        gram[np.diag_indices(len(y))] += settings.location.ridge * np.trace(gram) / len(y)
        self.inverse = np.linalg.inv(gram)
        pull = self.inverse @ y
        self.mix = weight * (phi.T @ pull)
        self.spread = float(y @ pull) / len(y)  # variance of the prior for a weight of one
        self.fit = float(1 - np.sum((pull / np.diag(self.inverse)) ** 2) / np.sum(y**2))

    def squares(self, targets: FloatArray) -> FloatArray:
        """(t,) expected square of each target, (t, n) in the model's modes."""
        weighed = targets * self.weight
        across = weighed @ (self.weighted / self.weight).T
        open_ = np.sum(weighed * targets, axis=1) - np.sum((across @ self.inverse) * across, axis=1)
        size = self.mix @ self.mix + self.spread * (
            self.weight.sum() - np.sum(self.inverse * (self.weighted @ self.weighted.T))
        )
        return np.asarray(((targets @ self.mix) ** 2 + self.spread * np.maximum(open_, 0.0)) / size)
