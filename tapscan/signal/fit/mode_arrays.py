"""Modes as arrays: how M modes sound in S strikes.

ModeArrays.of(poles)                       from Pole records
    .spectra(bins, length, rate)           (K, S) their spectra
    .images(bins, length, rate)            (K, S) what their halves at minus their frequency leave among the bins
    .where(keep)                           some of them
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapscan.records import ComplexArray, FloatArray, Pole
from tapscan.signal.fit.polefit import mode_values


@dataclass(frozen=True, eq=False)
class ModeArrays:
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
        """(K, S); 0 where there is no mode."""
        mirrored = ModeArrays(-self.frequency_hz, self.decay_rate_per_s, self.amplitudes.conj())
        return mirrored.spectra(bins, length, rate_hz)
