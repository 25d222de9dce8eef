"""The drawing put right as far as the measured patterns tell: thickness of each part, the plate's proportions, where the places lie.

    fitted(patterns, model, places, settings)   Fitted: the plate that explains the patterns best

No shop draws its plate to the millimetre. How far a drawing may be off is known beforehand (settings); within that, the plate is
taken that makes the patterns likeliest (maximum a posteriori). The patterns of neighbouring places and tones are not independent: their evidence counts for a share only.
Frequencies of the model are still not trusted but in order and scale.
"""

from functools import lru_cache

import numpy as np
from msgspec import Struct

from tapscan.model.altered import Altered, altered
from tapscan.model.rough import RoughModel
from tapscan.records import FloatArray
from tapscan.screening.location.told_by_others import Covariance, Patterns
from tapscan.settings import Settings
from tapscan.settings.location import Location

SCALES = np.exp(np.linspace(-0.45, 0.45, 19))  # of the frequencies, tried first
STEPS = 40


class Fitted(Struct, frozen=True, eq=False):
    """Motions of the plate, those that do not bend first."""

    frequency_hz: FloatArray  # (m,), scale included
    shape: FloatArray  # (places, m)
    bending: FloatArray  # (cuts, samples, m)
    deflection: FloatArray  # (points, m)
    scale: float


def fitted(patterns: Patterns, model: RoughModel, places: FloatArray, settings: Settings) -> Fitted:
    """`places` (p, 2), each 0..1 of the picture. The last few are remembered."""
    arrays = (patterns.frequency_hz, patterns.motion, places)
    return _fitted(*(np.asarray(a, dtype=float).tobytes() for a in arrays), model, settings.location)


@lru_cache(maxsize=8)
def _fitted(hz: bytes, motion: bytes, at: bytes, model: RoughModel, limits: Location) -> Fitted:
    places = np.frombuffer(at).reshape(-1, 2)
    patterns = Patterns(np.frombuffer(hz), np.frombuffer(motion).reshape(-1, len(places)))
    search = _Search(patterns, model, places, Settings(location=limits))
    plate, shape, scale = search.best()
    return Fitted(scale * plate.frequency_hz, shape, plate.bending, model.motions @ plate.mix, scale)


class _Search:
    """Unknowns: ln thickness of each region, ln proportion, ln scale, each place's way in m; all in units of what is usual."""

    def __init__(self, patterns: Patterns, model: RoughModel, places: FloatArray, settings: Settings) -> None:
        self.patterns, self.model, self.settings = patterns, model, settings
        self.at, self.slope = model.at(places), model.slope_at(places)
        self.regions, limits = len(model.stiffness), settings.location
        self.usual = np.concatenate(
            [
                np.full(self.regions, limits.thickness),
                [limits.proportion, limits.scale],
                np.full(2 * len(places), limits.places_m),
            ]
        )

    def best(self) -> tuple[Altered, FloatArray, float]:
        """Plate, its shape at the places, scale of its frequencies."""
        from scipy.optimize import minimize

        start = np.zeros(len(self.usual))
        start[self.regions + 1] = self._first_scale() / self.usual[self.regions + 1]
        found = minimize(self._cost, start, jac=True, method="L-BFGS-B", options={"maxiter": STEPS})
        plate, shape, scale, _ = self._plate(found.x)
        return plate, shape, scale

    def _first_scale(self) -> float:
        """Ln of the one of SCALES with which the drawing as it is explains most."""
        plate = altered(self.model, np.zeros(self.regions), 0.0)
        told = [
            Covariance(self.patterns, s * plate.frequency_hz, self.at @ plate.mix, self.settings).evidence
            for s in SCALES
        ]
        return float(np.log(SCALES[int(np.argmax(told))]))

    def _plate(self, x: FloatArray) -> tuple[Altered, FloatArray, float, FloatArray]:
        """With the slope of the shape along each way, (places, 2, m)."""
        value = x * self.usual
        plate = altered(self.model, value[: self.regions], float(value[self.regions]))
        slope = self.slope @ plate.mix
        way = value[self.regions + 2 :].reshape(-1, 2)
        shape = self.at @ plate.mix + np.einsum("pa,pam->pm", way, slope)
        return plate, shape, float(np.exp(value[self.regions + 1])), slope

    def _cost(self, x: FloatArray) -> tuple[float, FloatArray]:
        """Minus ln of the posterior, and its slope."""
        plate, shape, scale, slope = self._plate(x)
        patterns = Patterns(self.patterns.frequency_hz / scale, self.patterns.motion)
        found = Covariance(patterns, plate.frequency_hz, shape, self.settings)
        by = found.slopes()
        thickness, proportion = plate.slope(by.stiffness, by.mass)
        ways = np.einsum("pm,pam->pa", by.shape, slope).ravel()
        uphill = np.concatenate([thickness, [proportion, by.log_scale], ways]) * self.usual
        share = self.settings.location.evidence
        return 0.5 * float(x @ x) - share * found.evidence, x - share * uphill
