"""What a careful engineer would use instead, each at its best: the reference estimators of accuracy.py and speed.py.

    fourier_peak     zero-padded Fourier peak (parabola over the log power), half-power bandwidth
    by_harminv       harminv (Debian; filter diagonalisation) on the band, decimated, default density, any Q (its usual
                     least Q of 10 would be held against the decimated frequency)
    by_ema           sdypy-EMA: least-squares complex frequency-domain fit, the stable pole nearest the peak

Each returns rows (frequency_hz, decay_rate_per_s), the strongest first; harminv all of the band, the others one.
"""

import contextlib
import io
import subprocess
import warnings

import numpy as np

from tapscan.records import ComplexArray, FloatArray
from tapscan.signal.fit.subbands import Band, Spectra

ZERO_PADDING = 8
EMA_ORDER, EMA_HIGHEST_HZ = 30, 2000.0  # the best of fifteen pairs tried on a mode at 700 Hz
EMA_PADDING = 2  # without zeros after a short record its poles come out growing, and it takes none of them


def fourier_peak(samples: FloatArray, rate_hz: int, band: Band) -> FloatArray:
    """Peak in the band; the decay is pi times the width between the half-power points."""
    size = ZERO_PADDING * len(samples)
    power = np.abs(np.fft.rfft(samples, size)) ** 2
    step = rate_hz / size
    first, last = int(band.low_hz / step), int(band.high_hz / step)
    top = first + int(np.argmax(power[first:last]))
    a, b, c = np.log(power[top - 1 : top + 2])
    shift = 0.5 * (a - c) / (a - 2 * b + c)
    half = 0.5 * power[top]
    left, right = top, top
    while power[left] > half and left > 1:
        left -= 1
    while power[right] > half and right < len(power) - 2:
        right += 1
    low = left + (half - power[left]) / (power[left + 1] - power[left])
    high = right - (half - power[right]) / (power[right - 1] - power[right])
    return np.array([[(top + shift) * step, np.pi * (high - low) * step]])


def by_harminv(samples: FloatArray, rate_hz: int, band: Band) -> FloatArray:
    """All modes of the band that harminv reports, its own default limits on error and amplitude.

    It takes no negative frequencies, and reports none above a quarter of the sampling rate (found by trying): so the
    band's upper half is asked for as it is, its lower half turned round.
    """
    series, rate, centre = Spectra(samples[None], rate_hz).baseband(band)
    upper = [(centre + f, d, e) for f, d, e in _harminv(series[0], rate, band.high_hz - centre) if f >= 0]
    lower = [(centre - f, d, e) for f, d, e in _harminv(series[0].conj(), rate, centre - band.low_hz) if f > 0]
    good = sorted([*upper, *lower], key=lambda row: -row[2])
    return np.array([row[:2] for row in good]).reshape(-1, 2)


def _harminv(series: ComplexArray, rate_hz: float, highest_hz: float) -> list[tuple[float, float, float]]:
    """Frequency, decay rate and energy of the modes of a complex series from 0 Hz up."""
    aside = 0.1 * highest_hz  # so that a mode near 0 Hz is not at the edge of what is asked for
    turned = series * np.exp(2j * np.pi * aside / rate_hz * np.arange(len(series)))
    text = "\n".join(f"{v.real:.9g}{-v.imag:+.9g}i" for v in turned)  # its convention is exp(-i w t)
    asked = ["harminv", "-Q", "0", "-t", str(1 / rate_hz), f"{0.01 * aside}-{highest_hz + aside}"]
    run = subprocess.run(asked, input=text, capture_output=True, text=True, check=True)
    rows = [[float(v) for v in line.split(",")] for line in run.stdout.splitlines()[1:]]
    return [(r[0] - aside, r[1], r[3] ** 2 / r[1]) for r in rows if r[1] > 0]


def by_ema(samples: FloatArray, rate_hz: int, band: Band) -> FloatArray:
    """The stable pole nearest the Fourier peak."""
    from sdypy import EMA

    size = EMA_PADDING * len(samples)
    f = np.fft.rfftfreq(size, 1 / rate_hz)
    inside = f <= EMA_HIGHEST_HZ
    peak = float(fourier_peak(samples, rate_hz, band)[0, 0])
    with (
        warnings.catch_warnings(),
        contextlib.redirect_stdout(io.StringIO()),
        contextlib.redirect_stderr(io.StringIO()),
    ):
        warnings.simplefilter("ignore")
        model = EMA.Model(
            frf=np.fft.rfft(samples, size)[None, inside],
            freq=f[inside],
            lower=1,
            upper=EMA_HIGHEST_HZ,
            pol_order_high=EMA_ORDER,
            frf_type="receptance",
        )
        model.get_poles(show_progress=False)
        model.select_closest_poles([peak], f_window=10)
    if not len(model.nat_freq) or model.nat_freq[0] <= 0:
        return np.empty((0, 2))
    natural, damping = float(model.nat_freq[0]), float(model.nat_xi[0])
    return np.array([[natural * np.sqrt(1 - damping**2), 2 * np.pi * natural * damping]])
