"""Measured mode patterns spread over the iron with a rough model: what each mode bends where.

    expanded(patterns, plate, settings)   Expansion: bending across each cut, or motion at each point, expected squares

What is told of a place from all the others says how well the model fits. No frequency of the model is trusted but in
order and scale.
"""

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray
from tapscan.screening.location.fitted import Fitted
from tapscan.screening.location.told_by_others import Covariance, Patterns
from tapscan.settings import Settings


class Expansion(Struct, frozen=True, eq=False):
    """Expected squares, each mode of unit modal mass."""

    squares: FloatArray  # (cuts, k) squared moment over stiffness, mean along the cut; or (points, k) squared deflection, 1/kg
    fit: FloatArray  # (k,) share of the pattern told from the other places, at most 1

    @property
    def middle_fit(self) -> float:
        """Of the modes."""
        return float(np.median(self.fit)) if len(self.fit) else 0.0


def expanded(patterns: Patterns, plate: Fitted, settings: Settings, *, motion: bool = False) -> Expansion:
    """Bending across the cuts, or motion at the model's points."""
    told = Covariance(patterns, plate.frequency_hz, plate.shape, settings)
    if motion:
        return Expansion(told.squares(plate.deflection), told.fit)
    cuts, samples, motions = plate.bending.shape
    every = told.squares(plate.bending.reshape(-1, motions))
    return Expansion(every.reshape(cuts, samples, -1).mean(axis=1), told.fit)
