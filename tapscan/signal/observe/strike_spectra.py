"""All strikes of a plate side by side, with the modes that all stations share.

    Columns(sounds, shared)     spectra over one common stretch, and each mode's strength in each strike
        .window(low, high)      bins and spectra of a band, without the tails of modes outside it
        .without_modes(low, high, seconds)   the strikes in time, without any mode and as heard

Frequencies in Hz, decay rates in 1/s (amplitude); arrays (K bins, S strikes), (M modes,), (S strikes, n samples).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, prev_fast_len, rfft

from tapscan.records import ComplexArray, FloatArray
from tapscan.signal.fit.polefit import mode_values
from tapscan.signal.fit.ringing import ringing
from tapscan.signal.fit.subbands import Band
from tapscan.signal.plate.columns import HIGHEST_HZ, StationSound
from tapscan.signal.plate.joint_fit import SharedMode

BoolArray = NDArray[np.bool_]
TOP_HZ = 1.3 * HIGHEST_HZ  # spectra are kept so far


class Columns:
    """All strikes of all stations over the length of the shortest, or a few samples less: a length that Fourier transforms take fast.

    sounds : of one sample rate, each with the names and forces of its strikes.
    """

    def __init__(self, sounds: Sequence[StationSound], shared: Sequence[SharedMode]) -> None:
        self.sounds = list(sounds)
        self.rate = sounds[0].sample_rate_hz
        self.length = prev_fast_len(min(s.ring.shape[1] for s in sounds))
        kept = int(TOP_HZ * self.length / self.rate) + 2
        self.full = np.vstack([rfft(s.ring[:, : self.length].astype(float), axis=1)[:, :kept] for s in sounds])
        self.frequency_hz = np.array([m.frequency_hz for m in shared])
        self.decay_rate_per_s = np.array([m.decay_rate_per_s for m in shared])
        self.forces = np.array([f for s in sounds for f in (s.forces or (None,) * len(s.strikes))], dtype=object)
        self.amplitudes = self._amplitudes(shared)

    def _amplitudes(self, shared: Sequence[SharedMode]) -> ComplexArray:
        """(M, S) where each ring is free."""
        turn = -self.decay_rate_per_s + 2j * np.pi * self.frequency_hz
        parts = []
        for sound in self.sounds:
            none = (0j,) * len(sound.strikes)
            at = np.array([m.at[sound.station].amplitudes if sound.station in m.at else none for m in shared])
            first = round(sound.free_s * self.rate) / self.rate
            parts.append(at * np.exp(turn * first)[:, None])
        return np.hstack(parts)

    def window(self, low_hz: float, high_hz: float) -> tuple[FloatArray, ComplexArray, BoolArray]:
        """Bins (K,), spectra (K, S) without the tails of modes outside, and which modes (M,) lie inside."""
        step = self.rate / self.length
        number = np.arange(max(1, int(np.ceil(low_hz / step))), int(high_hz / step) + 1)
        number = number[number < self.full.shape[1] - 1]
        bins = number * step
        inside = (self.frequency_hz > low_hz) & (self.frequency_hz < high_hz)
        everywhere = np.ones(len(inside), dtype=bool)
        values = self.full[:, number].T - self._spectra(bins, ~inside) - self._spectra(bins, everywhere, mirrored=True)
        return bins, values, inside

    def _spectra(self, bins: FloatArray, which: BoolArray, *, mirrored: bool = False) -> ComplexArray:
        """(K, S) what some modes leave at some bins; `mirrored`: their halves at minus their frequency."""
        f, c = self.frequency_hz[which], self.amplitudes[which]
        if mirrored:
            f, c = -f, c.conj()
        return np.asarray(mode_values(bins, f, self.decay_rate_per_s[which], self.length, self.rate) @ c)

    def floor(self, band: Band) -> FloatArray:
        """(S,) noise energy a bin of each strike there."""
        return self.noise(band.low_hz, band.high_hz) * self.length

    def noise(self, low_hz: float, high_hz: float) -> FloatArray:
        """(S,) mean square of white noise as strong as the noise before the strikes between two frequencies."""
        noise = [s.noise.at(low_hz, high_hz) for s in self.sounds]
        return np.repeat(noise, [len(s.strikes) for s in self.sounds])

    def without_modes(self, low_hz: float, high_hz: float, seconds: float) -> tuple[FloatArray, FloatArray]:
        """(S, n) the first `seconds` of the strikes between two frequencies without the modes, and as they were heard."""
        n = prev_fast_len(min(self.length, round(seconds * self.rate)))
        modes = ringing(self.frequency_hz, self.decay_rate_per_s, self.amplitudes.T, self.rate, 0, n)
        heard = np.vstack([s.ring[:, :n].astype(float) for s in self.sounds])
        return self._between(heard - modes, low_hz, high_hz), self._between(heard, low_hz, high_hz)

    def _between(self, x: FloatArray, low_hz: float, high_hz: float) -> FloatArray:
        spectrum = rfft(x, axis=1)
        f = np.arange(spectrum.shape[1]) * self.rate / x.shape[1]
        spectrum[:, (f < low_hz) | (f > high_hz)] = 0
        return np.asarray(irfft(spectrum, x.shape[1], axis=1))
