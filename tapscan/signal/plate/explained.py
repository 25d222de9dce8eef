"""How much of what is heard the modes explain: talk, music and handling are no sum of steadily fading tones.

    explained_share(samples, poles, sample_rate_hz, free_s, lowest_hz)   share of the power, 1 at best, under 0 where they make it worse

Looked at over half a second from where the ring is free, up to HIGHEST_HZ. Method: least-squares residual of the model of damped
sinusoids, as a share of the power (coefficient of determination).
"""

from collections.abc import Sequence

import numpy as np
from scipy.signal import resample_poly

from tapscan.records import FloatArray
from tapscan.signal.fit.ringing import ringing
from tapscan.signal.plate.joint_fit import HIGHEST_HZ

WINDOW_S = 0.5
WORK_RATE_HZ = 8000.0


def explained_share(
    samples: FloatArray,
    poles: Sequence[tuple[float, float, complex]],
    sample_rate_hz: int,
    free_s: float,
    lowest_hz: float,
    hidden_above_hz: float = HIGHEST_HZ,
) -> float | None:
    """Share of the power between `lowest_hz` and HIGHEST_HZ, or where a room hides the plate; None where there is no sound to look at.

    samples : (n,) float64 from the onset. poles : (frequency in Hz, decay rate in 1/s, amplitude at the onset).
    """
    step = max(1, int(sample_rate_hz // WORK_RATE_HZ))
    first = round(free_s * sample_rate_hz)
    heard = np.asarray(samples[: first + round(WINDOW_S * sample_rate_hz)], dtype=float)
    if len(heard) < first + 16 * step:
        return None
    slow = resample_poly(heard, 1, step) if step > 1 else heard
    f, d, c = (
        (np.array(x) for x in zip(*poles, strict=True)) if poles else (np.zeros(0), np.zeros(0), np.zeros(0, complex))
    )
    model = ringing(f, d, c[None, :], sample_rate_hz / step, 0, len(slow))[0]
    a = first // step + 1
    highest_hz = min(HIGHEST_HZ, hidden_above_hz)
    whole = _band_power(slow[a:], sample_rate_hz / step, lowest_hz, highest_hz)
    left = _band_power((slow - model)[a:], sample_rate_hz / step, lowest_hz, highest_hz)
    return 1 - left / whole if whole > 0 else None


def _band_power(x: FloatArray, rate_hz: float, lowest_hz: float, highest_hz: float) -> float:
    spectrum = np.abs(np.fft.rfft(x * np.hanning(len(x)))) ** 2
    f = np.fft.rfftfreq(len(x), 1 / rate_hz)
    return float(spectrum[(f >= lowest_hz) & (f <= highest_hz)].sum())
