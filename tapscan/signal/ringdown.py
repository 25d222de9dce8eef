"""The decay of one mode by another road: its energy left over time.

    Ring(samples, rate)                                 the Fourier transform of one strike, for many modes
    ring_down(ring, frequency, decay, others, noise)    RingDown
    with_ring_down(pole, found)                         the pole, and a sentence where the two roads part

The band around the mode is moved to zero frequency, squared, the noise's share taken away and summed from the end
backwards (Schroeder, J. Acoust. Soc. Am. 37 (1965) 409; evaluation from 5 to 25 dB below the start as ISO 3382-1 does for T20; both
from memory). No model of the ring is assumed, so where a ring is no single exponential the two roads part, and the mode says so.

The road is closed where a neighbour lies within the band or the noise stands too high; it then gives None and why.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tapscan.records import FloatArray, Pole
from tapscan.signal.decay import t60_s

FROM_DB, TO_DB = -5.0, -25.0
CLEAR_OF_NOISE_DB = 10.0  # the evaluated range must stay this far above what noise leaves
HALF_WIDTHS = 4.0  # of the mode; a narrower band would show its own decay
LEAST_POINTS = 12
NOISE_SHARE = 3.0  # 4 x 3/4: noise power in the envelope of a raised-cosine band, of white noise, times half / rate
PARTED, PARTED_SDS = 0.05, 3.0  # relative difference that counts, beyond three standard errors


@dataclass(frozen=True)
class RingDown:
    """Decay rate of the amplitude in 1/s from the energy between 5 and 25 dB down; None with the reason."""

    decay_rate_per_s: float | None
    reason: str | None = None


class Ring:
    """One strike, (n,) samples from where the plate rings freely."""

    def __init__(self, samples: FloatArray, sample_rate_hz: int) -> None:
        self.spectrum, self.size, self.rate = np.fft.rfft(samples), len(samples), sample_rate_hz


def ring_down(
    ring: Ring, frequency_hz: float, decay_rate_per_s: float, others_hz: Sequence[float], noise: float
) -> RingDown:
    """Energy decay of the mode at `frequency_hz`.

    decay_rate_per_s : the fit's, only to choose the band. others_hz : frequencies of the other modes.
    noise : mean square per sample of white noise as strong as is heard there.
    """
    width = decay_rate_per_s / np.pi
    away = min((abs(f - frequency_hz) for f in others_hz), default=np.inf)
    half = min(max(HALF_WIDTHS * width, 20.0), 0.7 * away)
    if half < HALF_WIDTHS * width:
        return RingDown(None, "a neighbour is too near for its energy to be told apart")
    power, rate = _band_power(ring, frequency_hz, half)
    skip = int(np.ceil(rate / half))  # the filter itself needs this long
    power = power[skip : len(power) - skip]
    if len(power) < LEAST_POINTS:
        return RingDown(None, "heard too shortly")
    left = np.cumsum((power - noise * NOISE_SHARE * half / ring.rate)[::-1])[::-1]
    return _slope(left, power, rate)


def _band_power(ring: Ring, frequency_hz: float, half_hz: float) -> tuple[FloatArray, float]:
    """Squared envelope through a raised-cosine band of +-half_hz, at four samples a 1/half_hz, and its rate."""
    spectrum, step = ring.spectrum, ring.rate / ring.size
    centre, reach = round(frequency_hz / step), max(4, round(half_hz / step))
    first, last = max(1, centre - reach), min(len(spectrum) - 1, centre + reach)
    offset = np.arange(first, last + 1) - centre
    window = 0.5 * (1 + np.cos(np.pi * offset / reach))
    count = 4 * reach
    band = np.zeros(count, dtype=complex)
    band[offset % count] = spectrum[first : last + 1] * window
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
    return replace(pole, decay_rate_per_s=rate, decay_rate_sd_per_s=max(apart, pole.decay_rate_sd_per_s)), note
