"""Does a mode stand out as a pitch? Tone-to-noise ratio, prominence ratio and audibility.

    critical_band_hz, proximity_hz, tone_to_noise_limit_db, prominence_limit_db    the standard's curves
    judge(tone_hz, tone_power, power_between)                 the two ratios from any power distribution
    tonal_audibility_db(...)                                  the same tone against a listener's threshold
    station_tones(poles, segments, noise, settings)           prominence of each mode of one station

Formulas and limits: ECMA-418-1:2024 clauses 10-12 (read second-hand in two public libraries), audibility:
ISO/PAS 20065:2016. Both are written for steady sound. A tap is not steady, so a stated window after the
strike is judged, in the manner of the standards and not in conformity with them.

The powers come from the fitted modes at that time plus what the modes leave unexplained, measured noise
subtracted: gain, force of the tap and room noise do not move the answer.
"""

from collections.abc import Callable, Sequence
from functools import cached_property
from math import log10
from statistics import median
from typing import Any, NamedTuple

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray, Pole, Tone
from tapscan.settings import Settings
from tapscan.signal.fit.noise import hann
from tapscan.signal.fit.ringing import ringing

LOWEST_TONE_HZ, HIGHEST_TONE_HZ = 89.1, 11220.0
TONE_BAND_SHARE = 0.15  # of the critical band, ECMA-418-1 clause 11.2
SHORTEST_WINDOW_S = 0.05

Hz = Any  # one frequency, or an array of them, of which each is treated alone
PowerBetween = Callable[[Hz, Hz], Any]


def critical_bandwidth_hz(f: Hz) -> Hz:
    """Width of the critical band centred on `f` Hz (clause 10, formula 2)."""
    return 25 + 75 * (1 + 1.4 * (f / 1000) ** 2) ** 0.69


def critical_band_hz(f: Hz) -> tuple[Hz, Hz]:
    """Edges of the critical band (formulas 4 to 8)."""
    width = critical_bandwidth_hz(f)
    low = np.where(np.less_equal(f, 500), f - width / 2, (np.sqrt(width**2 + 4 * f**2) - width) / 2)[()]
    return low, low + width


def neighbour_bands_hz(f: Hz) -> tuple[Hz, Hz]:
    """Lower edge of the band below and upper edge of the band above (tables 2 and 3)."""
    under = np.where(np.less(f, 1600), -149.5 + 1.001 * f - 6.90e-5 * f**2, 6.8 + 0.806 * f - 8.20e-6 * f**2)
    low = np.where(np.less(f, 171.4), 20.0, under)[()]
    high = np.where(np.less(f, 1600), 149.5 + 1.035 * f + 7.70e-5 * f**2, 3.3 + 1.215 * f + 2.16e-5 * f**2)[()]
    return low, high


def proximity_hz(f: float) -> float:
    """Spacing under which two tones below 1 kHz are heard as one (formula 14)."""
    return 21 * 10 ** (1.2 * abs(log10(f / 212)) ** 1.8)


def tone_to_noise_limit_db(f: float) -> float | None:
    """Limit of prominence (formulas 12 and 13); None outside the standard's range."""
    if not LOWEST_TONE_HZ <= f <= HIGHEST_TONE_HZ:
        return None
    return 8.0 if f >= 1000 else 8.0 + 8.33 * log10(1000 / f)


def prominence_limit_db(f: float) -> float | None:
    """Limit of prominence by the other ratio (formulas 25 and 26); None outside the standard's range."""
    if not LOWEST_TONE_HZ <= f <= HIGHEST_TONE_HZ:
        return None
    return 9.0 if f >= 1000 else 9.0 + 10 * log10(1000 / f)


def judge(tone_hz: Hz, tone_power: Hz, power_between: PowerBetween) -> tuple[Hz, Hz]:
    """Tone-to-noise and prominence ratio, dB, of a tone (or of each of several) in a distribution of power that includes it.

    tone_power    : mean square of the tone alone
    power_between : mean square of everything between two frequencies in Hz
    """
    low, high = critical_band_hz(tone_hz)
    lower, upper = neighbour_bands_hz(tone_hz)
    middle = power_between(low, high)
    ratio = tone_power / np.maximum(middle - tone_power, 1e-12 * tone_power)
    below, above = power_between(lower, low), power_between(high, upper)
    below = below * np.where(np.less_equal(tone_hz, 171.4), 100 / (low - lower), 1.0)
    beside = np.maximum(0.5 * (below + above), 1e-12 * middle)
    return 10 * np.log10(ratio), 10 * np.log10(middle / beside)


def masking_index_db(f: float) -> float:
    """How far under the critical band's level a tone is still heard (ISO/PAS 20065), dB, negative."""
    return -2 - log10(1 + (f / 502) ** 2.5)


def tonal_audibility_db(tone_to_noise_db: float, f: float) -> float:
    """Level of a tone over the threshold at which it is heard in the noise of its critical band."""
    return tone_to_noise_db - masking_index_db(f)


class ToneWindow(Struct, frozen=True, eq=False, dict=True):
    """One strike as the tones see it: start and end of the window, and what no mode explains."""

    start_s: float
    end_s: float
    residual_density: FloatArray  # (k,) mean square per bin, Hann window
    step_hz: float

    @cached_property
    def _sums(self) -> FloatArray:
        return np.concatenate([[0.0], np.cumsum(self.residual_density)])

    def unexplained(self, low_hz: Hz, high_hz: Hz) -> Hz:
        """Mean square between two frequencies, noise included."""
        last = len(self._sums) - 1
        a, b = (np.clip(np.ceil(np.divide(x, self.step_hz)), 0, last).astype(int) for x in (low_hz, high_hz))
        return self._sums[b] - self._sums[a]


def tone_windows(
    strikes: Sequence[FloatArray], poles: Sequence[Pole], sample_rate_hz: int, settings: Settings
) -> list[ToneWindow | None]:
    """Window of each strike; None where the strike ends before the window holds anything.

    strikes : (n,) each, full scale = 1, sample 0 at the onset.
    """
    start = round(settings.tones.window_start_s * sample_rate_hz)
    stops = [min(len(s), round(settings.tones.window_end_s * sample_rate_hz)) for s in strikes]
    f, d = np.array([p.frequency_hz for p in poles]), np.array([p.decay_rate_per_s for p in poles])
    c = np.array([p.amplitudes for p in poles]).reshape(len(poles), -1).T
    modes = ringing(f, d, c, sample_rate_hz, start, max(start, *stops)) if poles else np.zeros((len(strikes), 0))
    windows: list[ToneWindow | None] = []
    for samples, stop, mode in zip(strikes, stops, modes, strict=True):
        if stop - start < SHORTEST_WINDOW_S * sample_rate_hz:
            windows.append(None)
            continue
        rest = samples[start:stop] - (mode[: stop - start] if poles else 0.0)
        taper = hann(len(rest))
        density = 2 * np.abs(np.fft.rfft(rest * taper)) ** 2 / (len(rest) * np.sum(taper**2))
        step_hz = sample_rate_hz / len(rest)
        windows.append(ToneWindow(start / sample_rate_hz, stop / sample_rate_hz, density, step_hz))
    return windows


def powers(poles: Sequence[Pole], strike: int, window: ToneWindow) -> FloatArray:
    """Mean square of each mode within the window.

    Returns (m,) full scale squared.
    """
    a = np.array([abs(p.amplitudes[strike]) for p in poles])
    d = 2 * np.array([p.decay_rate_per_s for p in poles])
    span = window.end_s - window.start_s
    return 0.5 * a**2 * np.exp(-d * window.start_s) * -np.expm1(-d * span) / (d * span)


def station_tones(
    poles: Sequence[Pole],
    strikes: Sequence[FloatArray],
    noise_at: PowerBetween,
    sample_rate_hz: int,
    settings: Settings,
) -> list[Tone]:
    """Prominence of each of one station's modes, median over its strikes.

    noise_at(low, high) gives the mean square of white noise as strong as what is heard there.
    """
    windows = tone_windows(strikes, poles, sample_rate_hz, settings)
    seen = [(k, w) for k, w in enumerate(windows) if w is not None]
    if not seen:
        return [Tone(None, None, None, "the tap ends before the window that is judged")] * len(poles)
    f, noise = np.array([p.frequency_hz for p in poles]), _noise_power(noise_at, sample_rate_hz)
    per_strike = [_strike_tones(f, powers(poles, k, w), w, noise, sample_rate_hz, settings) for k, w in seen]
    return [_median_tone([tones[i] for tones in per_strike]) for i in range(len(poles))]


def _noise_power(noise_at: PowerBetween, sample_rate_hz: int) -> PowerBetween:
    """Mean square of the noise between two frequencies, each pair looked up once: all strikes of a station ask for the same."""
    known: dict[tuple[bytes, bytes], Hz] = {}

    def between(low: Hz, high: Hz) -> Hz:
        asked = np.asarray(low).tobytes(), np.asarray(high).tobytes()
        if asked not in known:
            known[asked] = noise_at(low, high) * np.maximum(0.0, np.subtract(high, low)) / (0.5 * sample_rate_hz)
        return known[asked]

    return between


def _strike_tones(
    f: FloatArray,
    power: FloatArray,
    window: ToneWindow,
    noise: PowerBetween,
    sample_rate_hz: int,
    settings: Settings,
) -> list[Tone]:
    def everything(low: Hz, high: Hz) -> Hz:
        heard = noise(low, high)
        rest = np.maximum(window.unexplained(low, high) - heard, 0.01 * heard)
        return sums[np.searchsorted(tones, high)] - sums[np.searchsorted(tones, low)] + rest

    order = np.argsort(f)
    tones, sums = f[order], np.concatenate([[0.0], np.cumsum(power[order])])
    total = everything(0.0, 0.5 * sample_rate_hz)
    low, high = critical_band_hz(f)
    near = np.abs(f - f[:, None]) < 0.5 * TONE_BAND_SHARE * critical_bandwidth_hz(f)[:, None]
    beside = (f >= low[:, None]) & (f < high[:, None])
    tone_power = near @ power
    seen = _Seen(
        *judge(f, tone_power, everything),
        power >= np.where(near, power, 0.0).max(axis=1),
        power >= np.where(beside, power, 0.0).max(axis=1),
        10 * np.log10(np.maximum(tone_power, 1e-300) / np.maximum(noise(low, high), 1e-300)),
        tone_power >= total * 10 ** (settings.tones.share_db / 10),
    )
    each = zip(f.tolist(), *(x.tolist() for x in seen), strict=True)
    return [_one_tone(hz, _Seen(*one), settings.tones.snr_db) for hz, *one in each]


class _Seen(NamedTuple):
    """(M,) each, or of one: what the judgement of a strike's tones rests on."""

    ratio_db: Any
    prominence_db: Any
    strongest_of_tone: Any  # no stronger mode within the width of one tone
    strongest_of_band: Any
    snr_db: Any
    loud: Any


def _one_tone(f: float, seen: _Seen, snr_db: float) -> Tone:
    limit, other_limit = tone_to_noise_limit_db(f), prominence_limit_db(f)
    if limit is None or other_limit is None:
        return Tone(None, None, None, "outside 89.1 to 11220 Hz no limit of prominence is set")
    ratio, prominence = seen.ratio_db, seen.prominence_db
    if not seen.strongest_of_tone:
        return Tone(ratio, prominence, False, "part of a stronger tone beside it")
    if seen.snr_db < snr_db:
        return Tone(None, None, None, f"stands only {seen.snr_db:.0f} dB clear of the noise")
    if ratio < limit and not (seen.strongest_of_band and prominence >= other_limit):
        return Tone(ratio, prominence, False)
    if not seen.loud:
        return Tone(ratio, prominence, False, "too faint beside the rest of the tap to be its pitch")
    return Tone(ratio, prominence, True)


def _median_tone(tones: Sequence[Tone]) -> Tone:
    judged = [t for t in tones if t.prominent is not None]
    if not judged:
        return tones[0]
    yes = sum(bool(t.prominent) for t in judged)
    ratio = median([t.tone_to_noise_db for t in judged if t.tone_to_noise_db is not None])
    prominence = median([t.prominence_ratio_db for t in judged if t.prominence_ratio_db is not None])
    return Tone(ratio, prominence, 2 * yes > len(judged), None if yes else judged[0].reason)
