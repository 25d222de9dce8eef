"""How strong the noise is, by frequency.

white_density(samples)       per bin, the mean square of white noise as strong as what is heard there
NoiseDensity(noises, rate)   the same between two frequencies, from the stretches before the strikes
"""

from collections.abc import Sequence

import numpy as np

from tapscan.records import FloatArray

SHORTEST = 64  # samples; less says nothing about frequency
HANN_POWER = 0.375  # mean square of a Hann window


def white_density(samples: FloatArray) -> FloatArray:
    """(n // 2 + 1,) periodogram under a Hann window: white noise of mean square v gives v in every bin on average."""
    return np.asarray(np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2 / (HANN_POWER * len(samples)))


class NoiseDensity:
    """Noise energy per bin and sample, by frequency, from stretches before the strikes."""

    def __init__(self, noises: Sequence[FloatArray], sample_rate_hz: int) -> None:
        self.rate = sample_rate_hz
        self._spectra = [white_density(n) for n in noises if len(n) > SHORTEST]

    def at(self, low_hz: float, high_hz: float) -> float:
        """Mean square of white noise as strong as what is heard there, median of stretches; 0 where none was measured."""
        parts = []
        for power in self._spectra:
            step = 0.5 * self.rate / (len(power) - 1)
            first, last = int(low_hz / step), int(np.ceil(high_hz / step))
            parts.append(power[max(1, first) : max(first, 1) + max(1, last - first) + 1].mean())
        return float(np.median(parts)) if parts else 0.0
