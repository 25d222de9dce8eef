"""How strong the noise is, by frequency.

white_density(samples)       per bin, the mean square of white noise as strong as what is heard there
NoiseDensity(noises, rate)   the same between two frequencies, from the stretches before the strikes;
                             .line(frequency): a steady tone in them
"""

from collections.abc import Sequence
from statistics import median
from typing import Any

import numpy as np

from tapscan.records import FloatArray

SHORTEST = 64  # samples; less says nothing about frequency
LINE_BINS, BESIDE_BINS = 1, 8  # the line itself; what lies beside it
HANN_POWER = 0.375  # mean square of a Hann window


def white_density(samples: FloatArray) -> FloatArray:
    """(n // 2 + 1,) periodogram under a Hann window: white noise of mean square v gives v in every bin on average.

    samples : (n,) full scale = 1.
    """
    return np.asarray(np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2 / (HANN_POWER * len(samples)))


class NoiseDensity:
    """Noise energy per bin and sample, by frequency, from stretches before the strikes."""

    def __init__(self, noises: Sequence[FloatArray], sample_rate_hz: int) -> None:
        self.rate = sample_rate_hz
        powers = [white_density(n) for n in noises if len(n) > SHORTEST]
        self._sums = [(0.5 * self.rate / (len(p) - 1), np.concatenate([[0.0], np.cumsum(p)])) for p in powers]

    def at(self, low_hz: Any, high_hz: Any) -> Any:
        """Mean square of white noise as strong as what is heard there, median of stretches; 0 where none was measured.

        Of two frequencies, or of arrays of them.
        """
        parts = []
        for step, sums in self._sums:
            first, last = np.maximum(1, np.floor_divide(low_hz, step)), np.ceil(np.divide(high_hz, step))
            first = np.minimum(first, len(sums) - 2).astype(int)
            last = np.minimum(np.maximum(last, first), len(sums) - 2).astype(int)
            parts.append((sums[last + 1] - sums[first]) / (last + 1 - first))
        middle = np.median(parts, axis=0) if parts else np.zeros(np.shape(low_hz))
        return middle if np.ndim(middle) else float(middle)

    def line(self, frequency_hz: float) -> tuple[float, float] | None:
        """Amplitude of a steady tone at a frequency, and its power over what lies beside it in dB; median of stretches.

        None where nothing was measured, or the line lies at the edge of the spectrum. A Hann window turns a tone of amplitude a
        into a^2 m / 6 at its line, m samples long.
        """
        lines = []
        for step, sums in self._sums:
            place = round(frequency_hz / step)
            if not 1 + LINE_BINS < place < len(sums) - 3 - BESIDE_BINS:
                continue
            first = max(0, place - BESIDE_BINS - 1)
            power, place = np.diff(sums[first : place + BESIDE_BINS + 2]), place - first
            top = float(power[place - LINE_BINS : place + LINE_BINS + 1].max())
            low = power[max(1 - first, place - BESIDE_BINS) : place - LINE_BINS - 1]
            beside = median([*low.tolist(), *power[place + LINE_BINS + 2 : place + BESIDE_BINS + 1].tolist()])
            length = self.rate / step
            lines.append((float(np.sqrt(6 * top / length)), 10 * float(np.log10(top / (beside + 1e-300) + 1e-30))))
        return (median(a for a, _ in lines), median(c for _, c in lines)) if lines else None
