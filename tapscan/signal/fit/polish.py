"""The last step of the fit: every mode in a wide window, with the tails of all others taken away exactly.

    polished(spectra, band, poles, noise)   the band's own poles, refined

A band alone must let a polynomial stand for the tails of modes outside it, and that polynomial costs precision:
the wider a mode is against its band, the more. Once all modes of a station are known, their tails are known too;
without the polynomial the fit reaches the Cramer-Rao bound. Where the polynomial would still explain more than noise
(a tail of something that is no mode), the band's first estimate stands.
"""

from collections.abc import Sequence

import numpy as np
from msgspec.structs import replace

from tapscan.records import ComplexArray, FloatArray, Pole
from tapscan.signal.fit.bandfit import poles_of
from tapscan.signal.fit.polefit import BACKGROUND_TERMS, PoleFit, fit_poles, mode_spectra, mode_values, smooth_terms
from tapscan.signal.fit.subbands import Band, Spectra

WIDTHS = 8.0  # linewidths either side; a Lorentzian line keeps all but a thousandth of what tells its decay
MOST_WIDENING = 4.0  # band widths
TAIL_SIGMAS = 4.0
FAR_SD, FAR_WIDTHS, FAR_DECAY = 4.0, 0.3, 2.0  # a pole that moves further has lost its way


def polished(spectra: Spectra, band: Band, poles: Sequence[Pole], noise: float) -> list[Pole]:
    """Poles that `band` owns. `poles`: all poles of the station, amplitudes at sample 0 of `spectra`.

    noise : mean square per sample of the white noise the band is held against.
    """
    own = [p for p in poles if band.low_hz <= p.frequency_hz < band.high_hz]
    if not own:
        return []
    low, high = _window(band, own)
    bins, values = spectra.bins(low, high)
    inside = [p for p in poles if low < p.frequency_hz < high]
    others = [p for p in poles if not low < p.frequency_hz < high]
    if len(bins) < 5 * len(inside):
        return own
    values = values - tails(bins, others, spectra) - images(bins, poles, spectra)
    fit = fit_poles(
        bins,
        values,
        np.array([p.frequency_hz for p in inside]),
        np.array([p.decay_rate_per_s for p in inside]),
        length=spectra.length,
        rate_hz=spectra.rate,
        noise=spectra.length * noise,
        background_terms=0,
    )
    if _tail_left(bins, fit, spectra) or _astray(fit, inside):
        return own
    return [p for p, before in zip(poles_of(fit), inside, strict=True) if before in own]


def _astray(fit: PoleFit, before: Sequence[Pole]) -> bool:
    """Whether a mode left its place: among crowded thuds the wide fit may lose its way."""
    f, d = np.array([p.frequency_hz for p in before]), np.array([p.decay_rate_per_s for p in before])
    sd = np.array([p.frequency_sd_hz for p in before])
    far = np.abs(fit.frequency_hz - f) > np.maximum(FAR_SD * sd, FAR_WIDTHS * d / np.pi)
    ratio = fit.decay_rate_per_s / d
    return bool(np.any(far | (ratio > FAR_DECAY) | (ratio < 1 / FAR_DECAY)))


def _window(band: Band, own: Sequence[Pole]) -> tuple[float, float]:
    reach = [WIDTHS * p.decay_rate_per_s / np.pi for p in own]
    low = min(p.frequency_hz - r for p, r in zip(own, reach, strict=True))
    high = max(p.frequency_hz + r for p, r in zip(own, reach, strict=True))
    most = MOST_WIDENING * band.width_hz
    return (
        max(min(band.low_hz - band.margin_hz, low), band.low_hz - most),
        min(max(band.high_hz + band.margin_hz, high), band.high_hz + most),
    )


def tails(bins: FloatArray, poles: Sequence[Pole], spectra: Spectra) -> ComplexArray:
    """(K, S) spectra of poles that lie outside the bins."""
    if not poles:
        return np.zeros((len(bins), len(spectra.strikes)), dtype=complex)
    f, d = np.array([p.frequency_hz for p in poles]), np.array([p.decay_rate_per_s for p in poles])
    model = mode_values(bins, f, d, spectra.length, spectra.rate)
    return np.asarray(model @ np.array([p.amplitudes for p in poles]))


def images(bins: FloatArray, poles: Sequence[Pole], spectra: Spectra) -> ComplexArray:
    """(K, S) what the modes' other halves, at minus their frequency, leave among the bins."""
    mirrored = [replace(p, frequency_hz=-p.frequency_hz, amplitudes=tuple(np.conj(p.amplitudes))) for p in poles]
    return tails(bins, mirrored, spectra)


def _tail_left(bins: FloatArray, fit: PoleFit, spectra: Spectra) -> bool:
    """Whether a smooth background would take more out of the residual than noise gives it."""
    model, slope = mode_spectra(bins, fit.frequency_hz, fit.decay_rate_per_s, spectra.length, spectra.rate)
    smooth = smooth_terms(bins, BACKGROUND_TERMS)
    q, _ = np.linalg.qr(np.hstack([model, slope, smooth]))
    gain = float(np.sum(np.abs(q[:, -BACKGROUND_TERMS:].conj().T @ fit.residual) ** 2)) / fit.noise
    expected = BACKGROUND_TERMS * fit.residual.shape[1]
    return gain > expected + TAIL_SIGMAS * np.sqrt(expected)
