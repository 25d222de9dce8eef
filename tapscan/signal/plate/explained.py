"""How much of what is heard the modes explain: talk, music and handling are no sum of steadily fading tones.

    explained_share(samples, poles, sample_rate_hz, free_s, lowest_hz)   share of the power, 1 at best, under 0 where they make it worse

Looked at over half a second from where the ring is free. Method: least-squares residual of the model of damped
sinusoids, as a share of the power (coefficient of determination).
"""

from collections.abc import Sequence

import numpy as np

from tapscan.records import FloatArray
from tapscan.signal.fit.noise import hann
from tapscan.signal.fit.ringing import ringing
from tapscan.signal.plate.joint_spectra import HIGHEST_HZ

WINDOW_S, LEAST_S = 0.5, 0.002


def explained_share(
    samples: FloatArray,
    poles: Sequence[tuple[float, float, complex]],
    sample_rate_hz: int,
    free_s: float,
    lowest_hz: float,
    highest_hz: float = HIGHEST_HZ,
) -> float | None:
    """Share of the power between two frequencies; None where there is no sound to look at.

    samples : (n,) float64 from the onset. poles : (frequency in Hz, decay rate in 1/s, amplitude at the onset).
    """
    first = round(free_s * sample_rate_hz)
    heard = np.asarray(samples[: first + round(WINDOW_S * sample_rate_hz)], dtype=float)
    if len(heard) < first + LEAST_S * sample_rate_hz:
        return None
    f, d, c = (
        (np.array(x) for x in zip(*poles, strict=True)) if poles else (np.zeros(0), np.zeros(0), np.zeros(0, complex))
    )
    model = ringing(f, d, c[None, :], sample_rate_hz, 0, len(heard))[0]
    whole = _band_power(heard[first:], sample_rate_hz, lowest_hz, highest_hz)
    left = _band_power((heard - model)[first:], sample_rate_hz, lowest_hz, highest_hz)
    return 1 - left / whole if whole > 0 else None


def _band_power(x: FloatArray, rate_hz: float, lowest_hz: float, highest_hz: float) -> float:
    spectrum = np.abs(np.fft.rfft(x * hann(len(x)))) ** 2
    f = np.fft.rfftfreq(len(x), 1 / rate_hz)
    return float(spectrum[(f >= lowest_hz) & (f <= highest_hz)].sum())
