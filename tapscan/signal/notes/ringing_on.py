"""What rings on after the damper has fallen.

    tones_after(samples, rate, noise, settings)   damped tones of one stretch, band by band

Poles by the subspace method of signal/fit; errors from the Fisher matrix of one damped tone in white noise.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from tapscan.records import FloatArray
from tapscan.settings import Settings
from tapscan.signal.fit.noise import NoiseDensity
from tapscan.signal.fit.subbands import Band, Spectra, plan_bands
from tapscan.signal.fit.subspace import shared_poles

LOWEST_HZ = 55.0
MOST_TONES = 6
FASTEST_PER_S, SLOWEST_PER_S = 60.0, 0.5  # faster is no tone by now; slower is hum or a whistle
Tone = tuple[float, float, float, float]  # frequency, its error, decay rate, signal to noise in dB


def tones_after(samples: FloatArray, rate: int, noise: NoiseDensity, settings: Settings) -> list[Tone]:
    """Of (n,) samples from .35 s after the damper on."""
    spectra = Spectra(samples[None, :], rate)
    found: list[Tone] = []
    for band in plan_bands(LOWEST_HZ, settings.notes.highest_hz):
        found += _of_band(spectra, band, noise, settings)
    return found


def _of_band(spectra: Spectra, band: Band, noise: NoiseDensity, settings: Settings) -> Sequence[Tone]:
    series, rate, centre = spectra.baseband(band)
    if series.shape[1] < 24:
        return ()
    power = float(noise.at(band.low_hz - band.margin_hz, band.high_hz + band.margin_hz)) * rate / spectra.rate
    poles = shared_poles(series, power, MOST_TONES)
    poles = poles[np.abs(poles) < 1]
    if not len(poles):
        return ()
    decay, frequency = -np.log(np.abs(poles)) * rate, centre + np.angle(poles) * rate / (2 * np.pi)
    at = np.arange(series.shape[1])
    basis = poles[None, :] ** at[:, None]
    amplitude = np.linalg.lstsq(basis, series[0], rcond=None)[0]
    rest = float(np.mean(np.abs(series[0] - basis @ amplitude) ** 2))
    sd, energy = _errors(poles, amplitude, series.shape[1], rate, max(power, rest))
    snr = 10 * np.log10(energy + 1e-30)
    keep = (decay > SLOWEST_PER_S) & (decay < FASTEST_PER_S) & (snr > settings.notes.tone_snr_db)
    return [
        (float(f), float(e), float(d), float(q))
        for f, e, d, q, k in zip(frequency, sd / (2 * np.pi), decay, snr, keep, strict=True)
        if k and band.owns(float(f))
    ]


def _errors(poles: Any, amplitude: Any, count: int, rate: float, noise: float) -> tuple[FloatArray, FloatArray]:
    """Standard error of each decay rate in 1/s (and of each frequency in rad/s), and energy over noise."""
    at = np.arange(count)
    envelope = np.abs(poles)[None, :] ** (2 * at[:, None])
    sums = [(envelope * at[:, None] ** k).sum(axis=0) for k in range(3)]
    info = (sums[2] - sums[1] ** 2 / sums[0]) / rate**2
    own = np.abs(amplitude) ** 2 / noise
    return np.asarray(1 / np.sqrt(2 * own * info + 1e-30)), np.asarray(own * sums[0])
