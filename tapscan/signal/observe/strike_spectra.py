"""All strikes of a plate side by side, with the modes that all stations share.

    StrikeSpectra(sounds, shared)     spectra over one common stretch, and each mode's strength in each strike
        .share(lengths, workers)     makes the spectra of some lengths, by whoever is free
        .window(low, high, length)   Window: bins and spectra of a band
        .in_time(seconds)   InTime of each station
    Window.without_tails()         its spectra without the tails of modes outside it
    InTime.without_modes(low, high)   the strikes of a station in time, without any mode and as heard

Frequencies in Hz, decay rates in 1/s (amplitude); arrays (K bins, S strikes), (M modes,), (S strikes, n samples).
"""

from collections.abc import Iterable, Iterator, Sequence

import numpy as np
from msgspec import Struct
from numpy.fft import irfft, rfft
from numpy.typing import NDArray

from tapscan.records import ComplexArray, FloatArray
from tapscan.signal.fit.fast_length import down_from
from tapscan.signal.fit.mode_arrays import ModeArrays
from tapscan.signal.fit.ringing import ringing
from tapscan.signal.plate.joint_fit import SharedMode
from tapscan.signal.plate.joint_spectra import CONSTANTS, HIGHEST_HZ, SHORTEST_S, StationSound, side_by_side
from tapscan.workers import ALONE, Workers

BoolArray = NDArray[np.bool_]
TOP_HZ = 1.3 * HIGHEST_HZ  # spectra are kept so far


class StrikeSpectra:
    """All strikes of all stations over the length of the shortest, or a few samples less: a length that Fourier transforms take fast.

    sounds : of one sample rate, each with the names and forces of its strikes.
    """

    def __init__(self, sounds: Sequence[StationSound], shared: Sequence[SharedMode]) -> None:
        self.sounds = list(sounds)
        self.rate = sounds[0].sample_rate_hz
        self.length = down_from(min(s.ring.shape[1] for s in sounds))
        self.lengths = [self.length]  # and halves of it
        while self.lengths[-1] > SHORTEST_S * self.rate:
            self.lengths.append(down_from(self.lengths[-1] // 2))
        self._full: dict[int, ComplexArray] = {}
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

    def inside(self, low_hz: float, high_hz: float) -> BoolArray:
        """(M,) which modes lie between two frequencies."""
        return (self.frequency_hz > low_hz) & (self.frequency_hz < high_hz)

    def length_for(self, low_hz: float, high_hz: float) -> int:
        """The shortest stretch, in samples, at whose end the slower modes there have fallen by 40 dB."""
        decays = self.decay_rate_per_s[self.inside(low_hz, high_hz)]
        wanted = CONSTANTS / float(np.quantile(decays, 0.2)) * self.rate if len(decays) else 0.0
        return next((n for n in reversed(self.lengths) if n >= wanted), self.length)

    def window(self, low_hz: float, high_hz: float, length: int) -> "Window":
        """Of the first `length` samples."""
        full, step = self._spectra(length), self.rate / length
        number = np.arange(max(1, int(np.ceil(low_hz / step))), int(high_hz / step) + 1)
        number = number[number < full.shape[1] - 1]
        modes = ModeArrays(self.frequency_hz, self.decay_rate_per_s, self.amplitudes)
        return Window(number * step, full[:, number], length, self.rate, modes, ~self.inside(low_hz, high_hz))

    def share(self, lengths: Iterable[int], workers: Workers) -> None:
        """In samples."""
        parts = [(n, int(TOP_HZ * n / self.rate) + 2) for n in sorted(set(lengths) - self._full.keys())]
        if parts:
            made = side_by_side(self.sounds, parts, workers)
            self._full |= {n: full for (n, _), full in zip(parts, made, strict=True)}

    def _spectra(self, length: int) -> ComplexArray:
        """(S, bins) up to TOP_HZ."""
        self.share([length], ALONE)
        return self._full[length]

    def noise(self, low_hz: float, high_hz: float) -> FloatArray:
        """(S,) mean square of white noise as strong as the noise before the strikes between two frequencies."""
        noise = [s.noise.at(low_hz, high_hz) for s in self.sounds]
        return np.repeat(noise, [len(s.strikes) for s in self.sounds])

    def in_time(self, seconds: float) -> Iterator["InTime"]:
        """The first `seconds` of the strikes, station by station."""
        n, first = down_from(min(self.length, round(seconds * self.rate))), 0
        for sound in self.sounds:
            last = first + len(sound.strikes)
            modes = ModeArrays(self.frequency_hz, self.decay_rate_per_s, self.amplitudes[:, first:last].copy())
            yield InTime(sound.ring[:, :n].copy(), modes, self.rate)
            first = last


class Window(Struct, frozen=True, eq=False):
    """All strikes between two frequencies."""

    bins: FloatArray  # (K,)
    values: ComplexArray  # (S, K)
    length: int
    rate: int
    modes: ModeArrays
    outside: BoolArray  # (M,) which of them

    def without_tails(self) -> ComplexArray:
        """(K, S) without the tails of modes outside."""
        outside = self.modes.where(self.outside)
        tails = outside.spectra(self.bins, self.length, self.rate) + self.modes.images(
            self.bins, self.length, self.rate
        )
        return np.asarray(self.values.T - tails)


class InTime(Struct, frozen=True, eq=False):
    """The strikes of one station; one by one, since what is worked on then stays in the processor's cache."""

    ring: np.ndarray  # (S, n) float32, of a length that Fourier transforms take fast
    modes: ModeArrays  # amplitudes where the ring is free
    rate: int

    def without_modes(self, low_hz: float, high_hz: float) -> tuple[FloatArray, FloatArray]:
        """(S, n) the strikes between two frequencies without the modes, and as they were heard."""
        m, heard = self.modes, self.ring.astype(float)
        modes = ringing(m.frequency_hz, m.decay_rate_per_s, m.amplitudes.T, self.rate, 0, heard.shape[1])
        return self._between(heard - modes, low_hz, high_hz), self._between(heard, low_hz, high_hz)

    def _between(self, x: FloatArray, low_hz: float, high_hz: float) -> FloatArray:
        spectrum = rfft(x, axis=1)
        f = np.arange(spectrum.shape[1]) * self.rate / x.shape[1]
        spectrum[:, (f < low_hz) | (f > high_hz)] = 0
        return np.asarray(irfft(spectrum, x.shape[1], axis=1))
