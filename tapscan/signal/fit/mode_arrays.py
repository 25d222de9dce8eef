"""Modes as arrays: how M modes sound in S strikes.

ModeArrays.of(poles)                       from Pole records
    .spectra(bins, length, rate)           (K, S) their spectra
    .images(bins, length, rate)            (K, S) what their halves at minus their frequency leave among the bins
    .where(keep)                           some of them
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np
from msgspec import Struct
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from tapscan.records import ComplexArray, FloatArray, Pole
from tapscan.signal.fit.polefit import mode_values

ROUNDING = 1e-16


class ModeArrays(Struct, frozen=True, eq=False):
    """x[n] = Re c exp((-decay_rate + 2 pi i frequency) n / rate) of each mode and strike."""

    frequency_hz: FloatArray  # (M,)
    decay_rate_per_s: FloatArray  # (M,)
    amplitudes: ComplexArray  # (M, S) at sample 0

    @staticmethod
    def of(poles: Sequence[Pole]) -> ModeArrays:
        """The same modes."""
        f, d = np.array([p.frequency_hz for p in poles]), np.array([p.decay_rate_per_s for p in poles])
        return ModeArrays(f, d, np.array([p.amplitudes for p in poles], dtype=complex))

    def __len__(self) -> int:
        return len(self.frequency_hz)

    def where(self, keep: NDArray[Any]) -> ModeArrays:
        """Those that are to stay."""
        return ModeArrays(self.frequency_hz[keep], self.decay_rate_per_s[keep], self.amplitudes[keep])

    def between(self, low_hz: float, high_hz: float) -> NDArray[np.bool_]:
        """(M,) which lie at or above `low_hz` and below `high_hz`."""
        return (self.frequency_hz >= low_hz) & (self.frequency_hz < high_hz)

    def spectra(self, bins: FloatArray, length: int, rate_hz: float) -> ComplexArray | float:
        """(K, S); 0 where there is no mode."""
        if not len(self):
            return 0.0
        return np.asarray(
            mode_values(bins, self.frequency_hz, self.decay_rate_per_s, length, rate_hz) @ self.amplitudes
        )

    def images(self, bins: FloatArray, length: int, rate_hz: float) -> ComplexArray | float:
        """(K, S); 0 where there is no mode. So far from the bins they are smooth: from a few points they are known everywhere."""
        mirrored = ModeArrays(-self.frequency_hz, self.decay_rate_per_s, self.amplitudes.conj())
        few = _points(bins, float(self.frequency_hz.min())) if len(self) else len(bins)
        if few >= len(bins):
            return mirrored.spectra(bins, length, rate_hz)
        points, between = _interpolation(few, len(bins))
        middle, half = 0.5 * (bins[-1] + bins[0]), 0.5 * (bins[-1] - bins[0])
        return np.asarray(between @ mirrored.spectra(middle + half * points, length, rate_hz))


def _points(bins: FloatArray, lowest_hz: float) -> int:
    """How many Chebyshev points tell the images but for rounding: the error falls by the sum of the half axes of the ellipse that reaches to the nearest pole."""
    if len(bins) < 2:
        return len(bins)
    away = (bins[-1] + bins[0] + 2 * lowest_hz) / (bins[-1] - bins[0])  # of the middle, in half widths
    return math.ceil(math.log(ROUNDING) / -math.log(away + math.sqrt(away**2 - 1))) + 1 if away > 1 else len(bins)


@lru_cache(maxsize=64)
def _interpolation(few: int, many: int) -> tuple[FloatArray, ComplexArray]:
    """Chebyshev points (few,) within -1 to 1, and what makes of values there those at `many` even steps (many, few)."""
    points = chebyshev.chebpts1(few)
    weights = chebyshev.chebvander(points, few - 1) * (np.where(np.arange(few), 2, 1) / few)
    return points, (chebyshev.chebvander(np.linspace(-1, 1, many), few - 1) @ weights.T).astype(complex)
