"""How strong the noise is, by frequency.

hann(n)                      the window, kept for those that ask again
white_density(samples)       per bin, the mean square of white noise as strong as what is heard there
NoiseDensity(noises, rate)   the same between two frequencies, from the stretches before the strikes;
                             .lines(frequencies): steady tones in them
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from statistics import median
from typing import Any

import numpy as np

from tapscan.records import FloatArray

SHORTEST = 64  # samples; less says nothing about frequency
LINE_BINS, BESIDE_BINS = 1, 8  # the line itself; what lies beside it
HANN_POWER = 0.375  # mean square of a Hann window


@lru_cache(maxsize=8)
def hann(n: int) -> FloatArray:
    """(n,) that nobody may change."""
    window = np.hanning(n)
    window.flags.writeable = False
    return window


def white_density(samples: FloatArray) -> FloatArray:
    """(n // 2 + 1,) periodogram under a Hann window: white noise of mean square v gives v in every bin on average.

    samples : (n,) full scale = 1.
    """
    return np.asarray(np.abs(np.fft.rfft(samples * hann(len(samples)))) ** 2 / (HANN_POWER * len(samples)))


def _middle(parts: FloatArray) -> Any:
    """Median over the first axis: of a few rows sorting them is far faster than numpy's own."""
    ordered, half = np.sort(parts, axis=0), len(parts) // 2
    return ordered[half] if len(parts) % 2 else 0.5 * (ordered[half - 1] + ordered[half])


def _middle_known(parts: FloatArray) -> FloatArray:
    """Median over the first axis of what is no nan; nan where all are."""
    ordered, known = np.sort(parts, axis=0), np.sum(~np.isnan(parts), axis=0)
    if not len(parts):
        return np.full(parts.shape[1], np.nan)
    columns = np.arange(parts.shape[1])
    return np.asarray(
        0.5
        * (ordered[np.maximum(known - 1, 0) // 2, columns] + ordered[np.minimum(known // 2, len(parts) - 1), columns])
    )


class NoiseDensity:
    """Noise energy per bin and sample, by frequency, from stretches before the strikes."""

    def __init__(self, noises: Sequence[FloatArray], sample_rate_hz: int) -> None:
        self.rate = sample_rate_hz
        powers = [white_density(n) for n in noises if len(n) > SHORTEST]
        self._sums = [(0.5 * self.rate / (len(p) - 1), np.concatenate([[0.0], np.cumsum(p)])) for p in powers]
        self._known: dict[tuple[float, float], float] = {}

    def at(self, low_hz: Any, high_hz: Any) -> Any:
        """Mean square of white noise as strong as what is heard there, median of stretches; 0 where none was measured.

        Of two frequencies, or of arrays of them.
        """
        if np.ndim(low_hz) or np.ndim(high_hz):
            return self._at_each(low_hz, high_hz)
        asked = float(low_hz), float(high_hz)
        if asked not in self._known:
            self._known[asked] = self._at_one(*asked)
        return self._known[asked]

    def _at_one(self, low_hz: float, high_hz: float) -> float:
        """The same as `_at_each`, which takes ten times as long for one pair."""
        parts = []
        for step, sums in self._sums:
            first = min(max(1, int(low_hz // step)), len(sums) - 2)
            last = min(max(math.ceil(high_hz / step), first), len(sums) - 2)
            parts.append((float(sums[last + 1]) - float(sums[first])) / (last + 1 - first))
        return median(parts) if parts else 0.0

    def _at_each(self, low_hz: Any, high_hz: Any) -> Any:
        parts = []
        for step, sums in self._sums:
            first, last = np.maximum(1, np.floor_divide(low_hz, step)), np.ceil(np.divide(high_hz, step))
            first = np.minimum(first, len(sums) - 2).astype(int)
            last = np.minimum(np.maximum(last, first), len(sums) - 2).astype(int)
            parts.append((sums[last + 1] - sums[first]) / (last + 1 - first))
        return _middle(np.array(parts)) if parts else np.zeros(np.broadcast_shapes(np.shape(low_hz), np.shape(high_hz)))

    def lines(self, frequency_hz: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Amplitude of a steady tone at each of M frequencies, and its power over what lies beside it in dB; medians of stretches.

        nan where nothing was measured, or the line lies at the edge of the spectrum. A Hann window turns a tone of amplitude a
        into a^2 m / 6 at its line, m samples long.
        """
        found = np.full((2, len(self._sums), len(frequency_hz)), np.nan)
        for i, (step, sums) in enumerate(self._sums):
            place = np.round(frequency_hz / step).astype(int)
            told = np.nonzero((place > 1 + LINE_BINS) & (place < len(sums) - 3 - BESIDE_BINS))[0]
            number = place[told, None] + np.arange(-BESIDE_BINS, BESIDE_BINS + 1)
            power = np.where(number > 0, sums[np.maximum(number, 0) + 1] - sums[np.maximum(number, 0)], np.nan)
            top = power[:, BESIDE_BINS - LINE_BINS : BESIDE_BINS + LINE_BINS + 1].max(axis=1)
            power[:, BESIDE_BINS - LINE_BINS - 1 : BESIDE_BINS + LINE_BINS + 2] = np.nan
            beside = _middle_known(power.T)
            found[0, i, told] = np.sqrt(6 * top * step / self.rate)
            found[1, i, told] = 10 * np.log10(top / (beside + 1e-300) + 1e-30)
        return _middle_known(found[0]), _middle_known(found[1])

    def line(self, frequency_hz: float) -> tuple[float, float] | None:
        """The same of one frequency; None where it is not told."""
        amplitude, clear_db = (float(x[0]) for x in self.lines(np.array([frequency_hz])))
        return None if np.isnan(amplitude) else (amplitude, clear_db)
