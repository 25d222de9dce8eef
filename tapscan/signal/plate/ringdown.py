"""The decay of one mode by another road: its energy left over time.

    Ring(samples, rate)                                 the Fourier transform of one strike, for many modes
    ring_down(ring, frequency, decay, others, noise)    RingDown
    with_ring_down(pole, found)                         the pole, and a sentence where the two roads part
    energy_left(ring, noise, frequency, decay, others)  EnergyLeft, to be drawn

The band around the mode is moved to zero frequency, squared, the noise's share taken away and summed from the end
backwards (Schroeder, J. Acoust. Soc. Am. 37 (1965) 409; evaluation from 5 to 25 dB below the start as ISO 3382-1 does for T20; both
from memory). No model of the ring is assumed, so where a ring is no single exponential the two roads part, and the mode says so.

The road is closed where a neighbour lies within the band or the noise stands too high; it then gives None and why.
"""

from collections.abc import Sequence
from functools import cached_property

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from tapscan.records import ComplexArray, FloatArray, Pole
from tapscan.signal.plate.decay import t60_s

FROM_DB, TO_DB = -5.0, -25.0
CLEAR_OF_NOISE_DB = 10.0  # the evaluated range must stay this far above what noise leaves
HALF_WIDTHS = 4.0  # of the mode; a narrower band would show its own decay
LEAST_POINTS = 12
FEW_BINS, BLOCK = 100, 256  # bins; samples
NOISE_SHARE = 3.0  # 4 x 3/4: noise power in the envelope of a raised-cosine band, of white noise, times half / rate
UNSURE = 0.08  # standard error of a drawn energy, of itself: a third of a decibel
DEEPEST_DB = -35.0  # further down the band's own side lobes show
ENDS_BEFORE = 1.15  # time constants: energy missing behind the end of the sound is a tenth there, half a decibel
NEIGHBOUR = "a neighbour is too near for its energy to be told apart"
PARTED, PARTED_SDS = 0.05, 3.0  # relative difference that counts, beyond three standard errors


class RingDown(Struct, frozen=True):
    """Decay rate of the amplitude in 1/s from the energy between 5 and 25 dB down; None with the reason."""

    decay_rate_per_s: float | None
    reason: str | None = None


class EnergyLeft(Struct, frozen=True, eq=False):
    """Energy of one mode that is still to come, dB re its start; empty with the reason where it cannot be told."""

    time_s: FloatArray  # (n,) from where the ring begins
    level_db: FloatArray
    reason: str | None = None


class Ring:
    """One strike, (n,) samples from where the plate rings freely."""

    def __init__(self, samples: FloatArray, sample_rate_hz: int) -> None:
        self.samples, self.size, self.rate = samples, len(samples), sample_rate_hz

    @cached_property
    def _spectrum(self) -> ComplexArray:
        return np.fft.rfft(self.samples.astype(float))

    def bins(self, first: int, last: int) -> ComplexArray:
        """(last - first + 1,) of the Fourier transform. Few are summed one by one: a strike seldom has a length that transforms take fast."""
        if last - first > FEW_BINS:
            return self._spectrum[first : last + 1]
        number = np.arange(first, last + 1)[:, None]
        blocks = np.zeros((-(-self.size // BLOCK), BLOCK))
        blocks.ravel()[: self.size] = self.samples
        within, at_blocks = self._turns(number * np.arange(BLOCK)), self._turns(number * BLOCK * np.arange(len(blocks)))
        real, imaginary = (part @ blocks.T for part in (within.real, within.imag))
        return np.asarray(np.sum((real + 1j * imaginary) * at_blocks, axis=1))

    def _turns(self, steps: NDArray[np.int_]) -> ComplexArray:
        """What the samples of a bin are multiplied by, bin times sample."""
        return np.asarray(np.exp(-2j * np.pi / self.size * (steps % self.size)))


def ring_down(
    ring: Ring, frequency_hz: float, decay_rate_per_s: float, others_hz: Sequence[float] | FloatArray, noise: float
) -> RingDown:
    """Energy decay of the mode at `frequency_hz`.

    decay_rate_per_s : the fit's, only to choose the band. others_hz : (m,) frequencies of the other modes.
    noise : mean square per sample of white noise as strong as is heard there.
    """
    half = _half_width(frequency_hz, decay_rate_per_s, others_hz)
    if half is None:
        return RingDown(None, NEIGHBOUR)
    power, rate = _band_power(ring, frequency_hz, half)
    skip = int(np.ceil(rate / half))  # the filter itself needs this long
    power = power[skip : len(power) - skip]
    if len(power) < LEAST_POINTS:
        return RingDown(None, "heard too shortly")
    left = np.cumsum((power - noise * NOISE_SHARE * half / ring.rate)[::-1])[::-1]
    return _slope(left, power, rate)


def _band_power(ring: Ring, frequency_hz: float, half_hz: float) -> tuple[FloatArray, float]:
    """Squared envelope through a raised-cosine band of +-half_hz, at four samples a 1/half_hz, and its rate."""
    step = ring.rate / ring.size
    centre, reach = round(frequency_hz / step), max(4, round(half_hz / step))
    first, last = max(1, centre - reach), min(ring.size // 2, centre + reach)
    offset = np.arange(first, last + 1) - centre
    window = 0.5 * (1 + np.cos(np.pi * offset / reach))
    count = 4 * reach
    band = np.zeros(count, dtype=complex)
    band[offset % count] = ring.bins(first, last) * window
    return np.abs(np.fft.ifft(band) * (2 * count / ring.size)) ** 2, count * step


def _slope(left: FloatArray, power: FloatArray, rate: float) -> RingDown:
    top = left[0]
    floor = np.median(np.abs(power[-max(4, len(power) // 10) :])) * len(power) * 0.1
    level = 10 * np.log10(np.maximum(left / top, 1e-12)) if top > 0 else np.full(len(left), -np.inf)
    start, stop = int(np.argmax(level < FROM_DB)), int(np.argmax(level < TO_DB))
    if top <= 0 or stop <= start or 10 * np.log10(max(floor / top, 1e-12)) > TO_DB - CLEAR_OF_NOISE_DB:
        return RingDown(None, "does not stand 35 dB clear of the noise")
    if stop - start < 4:
        return RingDown(None, "falls too fast for its band")
    per_sample = np.polyfit(np.arange(start, stop), level[start:stop], 1)[0]
    return RingDown(float(-per_sample * rate * np.log(10) / 20))


def with_ring_down(pole: Pole, found: RingDown) -> tuple[Pole, str | None]:
    """The pole with the decay that is to be given, and why where it is not the fit's.

    A ring that is no single exponential has no single decay: then the energy's is given, since it presumes nothing,
    and its uncertainty reaches to the other road's.
    """
    rate = found.decay_rate_per_s
    if rate is None:
        return pole, None
    apart = abs(rate - pole.decay_rate_per_s)
    if apart <= PARTED * pole.decay_rate_per_s + PARTED_SDS * pole.decay_rate_sd_per_s:
        return pole, None
    note = (
        f"does not die away evenly: by its energy, 5 to 25 dB down, T60 is {t60_s(rate):.3g} s, "
        f"by the fit of the whole ring {t60_s(pole.decay_rate_per_s):.3g} s"
    )
    sd = max(apart, pole.decay_rate_sd_per_s)
    return replace(pole, decay_rate_per_s=rate, decay_rate_sd_per_s=sd, widened=(pole.widened[0], 1.0)), note


def energy_left(
    ring: Ring,
    noise: Ring | None,
    frequency_hz: float,
    decay_rate_per_s: float,
    others_hz: Sequence[float] | FloatArray,
) -> EnergyLeft:
    """The curve behind `ring_down`, ended where noise or the end of the sound would bend it by about half a decibel. others_hz : (m,).

    noise : sound before the strike, whose mean power in the band is taken away.
    """
    half = _half_width(frequency_hz, decay_rate_per_s, others_hz)
    if half is None:
        return EnergyLeft(np.empty(0), np.empty(0), NEIGHBOUR)
    power, rate = _band_power(ring, frequency_hz, half)
    quiet = 0.0 if noise is None else float(np.mean(_band_power(noise, frequency_hz, half)[0]))
    skip = int(np.ceil(rate / half))
    left = np.cumsum((power[skip : len(power) - skip] - quiet)[::-1])[::-1]  # both ends of the band run into each other
    t = (np.arange(len(left)) + skip) / rate
    still = len(left) - int(rate * ENDS_BEFORE / decay_rate_per_s)
    points = np.arange(len(left), 0, -1, dtype=np.float64)
    unsure = _noise_sd(left, quiet, points, rate / half, half * noise.size / noise.rate if noise else 1.0)
    clear = (unsure < UNSURE * left) & (left > left[0] * 10 ** (DEEPEST_DB / 10))
    good = int(np.argmin(np.append(clear[: max(still, 0)], False)))
    if good < LEAST_POINTS:
        return EnergyLeft(np.empty(0), np.empty(0), "heard too shortly, or too near the noise")
    return EnergyLeft(t[:good], 10 * np.log10(left[:good] / left[0]))


def _noise_sd(left: FloatArray, quiet: float, points: FloatArray, alike: float, looks: float) -> FloatArray:
    """Of the energy of the last `points` samples (a raised-cosine band holds half_hz independent ones a second): noise against noise, noise against ring, and the luck of its mean power.

    alike : neighbouring samples that are not independent. looks : independent samples that the mean was taken from.
    """
    parts = [points * alike * quiet**2, 2 * quiet * alike * np.maximum(left, 0), (points * quiet) ** 2 / looks]
    return np.sqrt(sum(parts))


def _half_width(frequency_hz: float, decay_rate_per_s: float, others_hz: Sequence[float] | FloatArray) -> float | None:
    width = decay_rate_per_s / np.pi
    away = np.abs(np.asarray(others_hz, dtype=float) - frequency_hz).min(initial=np.inf)
    half = float(min(max(HALF_WIDTHS * width, 20.0), 0.7 * away))
    return None if half < HALF_WIDTHS * width else half
