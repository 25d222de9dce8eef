"""The rough model with its regions thicker or thinner, solved in the basis of its own motions: thousandths of a second instead of a new mesh.

    altered(model, thickness, proportion)   Altered: frequencies and motions of such a plate
    Altered.slope(stiff, mass)              how a figure changes with each alteration, from how it changes with stiffness and mass

Of a thin plate the bending stiffness goes with the third power of the thickness, the mass with the first. A plate drawn too low or too high
bends by the powers of the height in the three terms of its bending energy. Both in ln. Exact but for the motions above the model's own.
"""

import numpy as np
from msgspec import Struct

from tapscan.model.rough import RoughModel
from tapscan.records import FloatArray

STILL_HZ = 0.1  # stands for the frequency of a motion that does not bend


class Altered(Struct, frozen=True, eq=False):
    """Motions in order of frequency, those that do not bend first."""

    model: RoughModel
    thickness: FloatArray  # (regions,) ln of the factor
    proportion: float  # ln of the factor on the height
    frequency_hz: FloatArray  # (m,)
    mix: FloatArray  # (m, m) each column a motion in the model's own

    @property
    def bending(self) -> FloatArray:
        """(cuts, samples, m) moment over the root of the stiffness, as the model's."""
        own = np.asarray(self.model.bending, dtype=float) @ self.mix[self.mix.shape[0] - self.model.bending.shape[2] :]
        return np.asarray(own * np.exp(1.5 * self.thickness)[self.model.region][:, :, None])

    def slope(self, stiff: FloatArray, mass: FloatArray) -> tuple[FloatArray, float]:
        """By thickness (regions,) and by proportion. stiff, mass : (m, m) slopes by both matrices between the altered motions."""
        stiff, mass = self.mix @ stiff @ self.mix.T, self.mix @ mass @ self.mix.T
        terms = np.tensordot(self.model.stiffness, stiff, 2) * np.exp(3 * self.thickness)[:, None]
        moved = np.tensordot(self.model.mass, mass, 2) * np.exp(self.thickness + self.proportion)
        height = _height(self.proportion)
        by_height = terms @ (HEIGHT_POWERS * height)
        return 3 * (terms @ height) + moved, float(by_height.sum() + moved.sum())


HEIGHT_POWERS = np.array([1.0, -3.0, -1.0])  # of the terms: area, and curvature along the height twice, or once


def altered(model: RoughModel, thickness: FloatArray, proportion: float) -> Altered:
    """`thickness` (regions,) and `proportion`: ln of the factors."""
    from scipy.linalg import eigh

    terms = np.tensordot(np.exp(3 * thickness), model.stiffness, 1)
    stiffness = np.tensordot(_height(proportion), terms, 1)
    mass = np.exp(proportion) * np.tensordot(np.exp(thickness), model.mass, 1)
    square, mix = eigh(stiffness, mass, driver="gvd")
    return Altered(
        model, thickness, proportion, np.sqrt(np.maximum(square, (2 * np.pi * STILL_HZ) ** 2)) / (2 * np.pi), mix
    )


def _height(proportion: float) -> FloatArray:
    return np.asarray(np.exp(HEIGHT_POWERS * proportion))
