"""The modes that one station's strikes share.

    station_poles(strikes, noises, rate, settings)   list of Pole, in order of frequency

Road: sub-bands, poles by a subspace method shared by all strikes, maximum-likelihood refinement in
the frequency domain with standard errors, then each pole must lower the residual by more than noise
could (its matched-filter level `snr_db`). What remains in the residual is looked through once more.

Valid while modes overlap little (modal overlap below about 0.5) and the noise is steady within a band.
"""

from collections.abc import Sequence

import numpy as np

from tapscan.records import ComplexArray, FloatArray, Pole
from tapscan.settings import Settings
from tapscan.signal.fit.bandfit import LEAST_Q, Start, fit_band
from tapscan.signal.fit.noise import NoiseDensity
from tapscan.signal.fit.polish import polished
from tapscan.signal.fit.subbands import Band, Spectra, plan_bands
from tapscan.signal.fit.subspace import shared_poles
from tapscan.signal.plate.high_tones import tonal_bands

SKIP_S = 0.001  # the blow itself lasts up to 0.6 ms
MOST_IN_BAND = 18
SHORTEST_S = 0.5
LEAST_SERIES = 12
EDGE_WIDTHS = 0.5  # linewidths: poles of two neighbouring bands so close are one mode
MODEL_ERROR = 1e-6  # of a band's energy: no real ring follows the model closer
DYNAMIC_RANGE = 1e-6  # of the strongest band's energy density: fainter modes are left alone


def station_poles(
    strikes: Sequence[FloatArray],
    noises: Sequence[FloatArray],
    sample_rate_hz: int,
    settings: Settings,
    free_s: float = 0.0,
    lowest_hz: float | None = None,
) -> list[Pole]:
    """Poles common to the strikes of one station.

    strikes : S arrays (n_s,) float64, sample 0 at the onset, n_s at least 0.05 s.
    noises  : S arrays of samples from before each strike; may be empty, then the residual alone rules.
    free_s  : where the fit may begin at the earliest, s after the onset (later blows are over by then).
    lowest_hz : below this nothing is looked for; None: as the settings say.
    """
    bands = plan_bands(settings.fit.lowest_hz, min(settings.fit.highest_hz, 0.45 * sample_rate_hz))
    bands = [b for b in bands if lowest_hz is None or b.high_hz > lowest_hz]
    bands = tonal_bands(strikes, sample_rate_hz, bands, settings, lowest_hz or 0.0)
    if not bands:
        return []
    skip = round(max(SKIP_S, free_s) * sample_rate_hz)
    length = min(len(s) for s in strikes) - skip
    stacked = np.stack([s[skip : skip + length] for s in strikes])
    density = NoiseDensity(noises, sample_rate_hz)
    levels = Ladder.of(Spectra(stacked, sample_rate_hz))
    noise = {b: density.at(b.low_hz, b.high_hz) for b in bands}
    floors = _floors(levels, noise)
    starts = _starts(levels, bands, floors)
    clear = 10 ** (settings.fit.mode_snr_db / 10)
    fits = [fit_band(levels.for_band(b), b, starts, floors[b], clear) for b in bands]
    poles = without_doubles(fits)
    poles = [p for b in bands for p in polished(levels.for_band(b), b, poles, noise[b])]
    return [_at_onset(p, skip / sample_rate_hz) for p in sorted(poles, key=lambda p: p.frequency_hz)]


def _floors(levels: "Ladder", noise: dict[Band, float]) -> dict[Band, float]:
    """Mean square per sample of the white noise each band is held against.

    The measured noise, or more where a strike is so strong that no model of its ring is exact.
    """
    energy = {}
    for band in noise:
        _, values = levels.whole.bins(band.low_hz, band.high_hz)
        energy[band] = float(np.mean(np.abs(values) ** 2)) / levels.whole.length if values.size else 0.0
    faintest = DYNAMIC_RANGE * max(energy.values())
    return {b: max(heard, MODEL_ERROR * energy[b], faintest) for b, heard in noise.items()}


class Ladder:
    """The same strikes at full, half, quarter... length; high bands decay fast and need less."""

    def __init__(self, rungs: Sequence[Spectra]) -> None:
        self.whole, self._rungs = rungs[0], rungs
        self._chosen: dict[Band, Spectra] = {}

    @staticmethod
    def of(whole: Spectra) -> "Ladder":
        """Down to half a second or less."""
        rungs = [whole]
        while rungs[-1].duration_s > SHORTEST_S:
            rungs.append(rungs[-1].shortened(rungs[-1].duration_s / 2))
        return Ladder(rungs)

    def for_band(self, band: Band) -> Spectra:
        """The shortest length after which a ten-thousandth of the band's energy is left."""
        if band not in self._chosen:
            self._chosen[band] = self._shortest(band)
        return self._chosen[band]

    def _shortest(self, band: Band) -> Spectra:
        whole = self.whole
        series, rate, _ = whole.baseband(band)
        power = np.sum(np.abs(series) ** 2, axis=0)
        floor = np.median(power[-max(4, len(power) // 8) :]) if len(power) > 32 else 0.0
        left = np.cumsum(np.maximum(power - floor, 0)[::-1])[::-1]
        for rung in reversed(self._rungs[1:]):
            place = int(rung.duration_s * rate)
            if place < len(left) and left[place] < 1e-4 * left[0]:
                return rung
        return whole


def _starts(levels: Ladder, bands: Sequence[Band], floors: dict[Band, float]) -> Start:
    """Start values over all bands; each band gives those it owns."""
    found = []
    for band in bands:
        spectra = levels.for_band(band)
        series, rate, centre = spectra.baseband(band)
        if series.shape[1] >= LEAST_SERIES:
            z = shared_poles(series, floors[band] * rate / spectra.rate, MOST_IN_BAND)
            found.append(starts_of(z, band, rate, centre, spectra.duration_s))
    return joined(found)


def starts_of(z: ComplexArray, band: Band, rate_hz: float, centre_hz: float, seconds: float) -> Start:
    """Start values from poles of the band moved to zero: those inside its edges that may be modes.

    z : (p,) poles of one step each, of magnitude up to 1.
    """
    log_z = np.log(z[np.abs(z) > 1e-6]) * rate_hz
    f, d = centre_hz + log_z.imag / (2 * np.pi), -log_z.real
    keep = (f >= band.low_hz) & (f < band.high_hz) & (d > -0.3 / seconds) & (np.pi * f > LEAST_Q * d)
    return Start(f[keep], np.maximum(d[keep], 0.1 / seconds))


def joined(parts: Sequence[Start]) -> Start:
    """All start values in order of frequency."""
    f = np.concatenate([[], *(p.frequency_hz for p in parts)])
    d = np.concatenate([[], *(p.decay_rate_per_s for p in parts)])
    return Start(np.empty(0), np.empty(0)).joined(f, d)


def without_doubles(fits: Sequence[Sequence[Pole]]) -> list[Pole]:
    """All bands' poles; of a mode that two bands claim at their common edge, the one seen more clearly."""
    kept: list[tuple[int, Pole]] = []
    for band, fit in enumerate(fits):
        lowest = min((p.frequency_hz - EDGE_WIDTHS * p.decay_rate_per_s / np.pi for p in fit), default=0.0)
        edge = [k for k, (b, p) in enumerate(kept) if b < band and p.frequency_hz > lowest]
        for pole in fit:
            twins = [k for k in edge if _same(kept[k][1], pole)]
            if not twins:
                kept.append((band, pole))
            elif kept[twins[-1]][1].snr_db < pole.snr_db:
                kept[twins[-1]] = (band, pole)
    return sorted((p for _, p in kept), key=lambda p: p.frequency_hz)


def _same(a: Pole, b: Pole) -> bool:
    width = min(a.decay_rate_per_s, b.decay_rate_per_s) / np.pi
    near = min(3 * (a.frequency_sd_hz + b.frequency_sd_hz), EDGE_WIDTHS * width)
    return abs(a.frequency_hz - b.frequency_hz) < near


def _at_onset(pole: Pole, seconds: float) -> Pole:
    """Amplitudes carried back from the start of the fit to the onset."""
    back = complex(np.exp((pole.decay_rate_per_s - 2j * np.pi * pole.frequency_hz) * seconds))
    return Pole(
        pole.frequency_hz,
        pole.frequency_sd_hz,
        pole.decay_rate_per_s,
        pole.decay_rate_sd_per_s,
        tuple(a * back for a in pole.amplitudes),
        pole.snr_db,
    )
