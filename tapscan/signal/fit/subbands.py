"""Cut a set of strikes into complex sub-bands.

    plan_bands(low, high)      contiguous bands; each owns the modes between its edges
    Spectra(strikes, rate)     discrete Fourier transforms of all strikes over one common length
    Spectra.bins(low, high)    the bins of a band, for the fit in frequency
    Spectra.baseband(band)     the band moved to zero and decimated, for the subspace method

Decimation multiplies the spectrum by the response of a finite Kaiser filter, so that the transient
at the onset is over after a known number of samples and what follows is an exact sum of the same
damped exponentials, poles z = exp((-decay_rate + 2 pi i (f - centre)) / rate).
"""

from functools import cached_property, lru_cache

import numpy as np
from msgspec import Struct
from numpy.fft import ifft, rfft

from tapscan.records import ComplexArray, FloatArray
from tapscan.signal.fit.fast_length import down_from, up_from

STOP_DB = 60.0
NARROWEST_HZ, WIDEST_HZ, RELATIVE_WIDTH = 40.0, 240.0, 0.15


class Band(Struct, frozen=True):
    """A band owns modes with low <= f < high; it listens `margin` further on both sides."""

    low_hz: float
    high_hz: float

    @property
    def width_hz(self) -> float:
        """Distance of the edges."""
        return self.high_hz - self.low_hz

    def owns(self, frequency_hz: float) -> bool:
        """Whether a mode of this frequency is the band's own."""
        return self.low_hz <= frequency_hz < self.high_hz

    @property
    def margin_hz(self) -> float:
        """How far past its edges the band listens, so that neighbours there can be told apart."""
        return 0.5 * self.width_hz


def plan_bands(low_hz: float, high_hz: float) -> list[Band]:
    """Contiguous bands, about 15 % wide, between 40 and 240 Hz."""
    bands = []
    edge = low_hz
    while edge < high_hz:
        upper = min(high_hz, edge + float(np.clip(RELATIVE_WIDTH * edge, NARROWEST_HZ, WIDEST_HZ)))
        bands.append(Band(edge, upper))
        edge = upper
    return bands


class Spectra:
    """Spectra of S strikes over their common length.

    strikes : (S, n) float64, sample 0 at (or just after) the onset.
    """

    first = 0  # number of the first bin in `full`

    def __init__(self, strikes: FloatArray, sample_rate_hz: int) -> None:
        self.rate = sample_rate_hz
        self.length = down_from(strikes.shape[1], real=True)
        self.strikes = strikes[:, : self.length]
        self._bands: dict[Band, tuple[ComplexArray, float, float]] = {}

    @property
    def duration_s(self) -> float:
        """Common length of the strikes."""
        return self.length / self.rate

    @cached_property
    def full(self) -> ComplexArray:
        """(S, length // 2 + 1), not normalised."""
        return np.asarray(rfft(self.strikes, axis=1))

    def shortened(self, seconds: float) -> "Spectra":
        """The first `seconds` of the same strikes."""
        return Spectra(self.strikes[:, : max(64, round(seconds * self.rate))], self.rate)

    def bins(self, low_hz: float, high_hz: float) -> tuple[FloatArray, ComplexArray]:
        """Frequencies (K,) in Hz and spectra (K, S) between two frequencies."""
        step = self.rate / self.length
        first = max(1, int(np.ceil(low_hz / step)))
        last = min(self.full.shape[1] - 2, int(np.floor(high_hz / step)))
        return np.arange(first, last + 1) * step, self.full[:, first : last + 1].T

    def baseband(self, band: Band) -> tuple[ComplexArray, float, float]:
        """Decimated series (S, m), its rate in Hz and the frequency that was moved to zero.

        The filter's transient is cut away at both ends, and with it what runs round from one end to the other; the first sample lies that
        much after sample 0.
        """
        if band not in self._bands:
            self._bands[band] = self._moved(band)
        return self._bands[band]

    def around(self, band: Band) -> tuple[int, int]:
        """Number of the bin in its middle, and how many on either side `baseband` looks at."""
        step = self.rate / self.length
        half = up_from(max(8, int(np.ceil((0.5 * band.width_hz + 1.5 * band.margin_hz) / step))))
        return round(0.5 * (band.low_hz + band.high_hz) / step), half

    def _moved(self, band: Band) -> tuple[ComplexArray, float, float]:
        spectrum, size = self.full, self.length
        step, (centre, half) = self.rate / size, self.around(band)
        index = np.arange(centre - half, centre + half)
        inside = (index > 0) & (index >= self.first) & (index < self.first + spectrum.shape[1])
        picked = np.zeros((spectrum.shape[0], 2 * half), dtype=complex)
        response, transient_s = _lowpass(half, self.rate, size, 0.5 * band.width_hz + 0.75 * band.margin_hz)
        picked[:, inside] = spectrum[:, index[inside] - self.first] * response[inside]
        series = ifft(np.fft.ifftshift(picked, axes=1), axis=1) * (2 * half / size)
        rate = 2 * half * step
        skip, stop = int(np.ceil(transient_s * rate)), int((self.duration_s - transient_s) * rate)
        return series[:, skip:stop], rate, centre * step


@lru_cache(maxsize=256)
def _lowpass(half: int, rate: int, size: int, cutoff_hz: float) -> tuple[FloatArray, float]:
    """Zero-phase response at the bins -half..half-1 and half the filter's length in seconds."""
    stop_hz = half * rate / size
    transition_hz = 2 * (stop_hz - cutoff_hz)
    taps = int((STOP_DB - 8) / 14.36 * rate / transition_hz) | 1
    taps = min(taps, size // 2 | 1)
    at = np.arange(taps) - taps // 2
    kernel = np.sinc(2 * cutoff_hz / rate * at) * np.kaiser(taps, 0.1102 * (STOP_DB - 8.7))
    kernel /= kernel.sum()
    centred = np.zeros(size)
    centred[: taps // 2 + 1] = kernel[taps // 2 :]
    centred[-(taps // 2) :] = kernel[: taps // 2]
    response = rfft(centred).real[: half + 1]
    return np.concatenate([response[:0:-1], response[:half]]), taps // 2 / rate
