"""The modes that one station's strikes share.

    station_poles(strikes, noises, rate, settings)   list of Pole, in order of frequency

Road: sub-bands, poles by a subspace method shared by all strikes, maximum-likelihood refinement in
the frequency domain with standard errors, then each pole must lower the residual by more than noise
could (its matched-filter level `clear_db`). What remains in the residual is looked through once more.

Valid while modes overlap little (modal overlap below about 0.5) and the noise is steady within a band.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapscan.records import ComplexArray, FloatArray, Pole
from tapscan.settings import Settings
from tapscan.signal.noise import NoiseDensity
from tapscan.signal.polefit import PoleFit, fit_poles, mode_spectra
from tapscan.signal.subbands import Band, Spectra, plan_bands
from tapscan.signal.subspace import shared_poles

SKIP_S = 0.001  # the blow itself lasts up to 0.6 ms
MOST_IN_BAND = 18
LEAST_Q = 12.0  # below this a "mode" is a thud
MODEL_ERROR = 1e-6  # of a band's energy: no real ring follows the model closer
DYNAMIC_RANGE = 1e-6  # of the strongest band's energy density: fainter modes are left alone
ROUGH_STEPS, FINAL_STEPS = 3, 12
HOPELESS = 0.3  # of the clear level: such modes are dropped together
PAIR_WIDTHS, PAIR_SHARE = 0.6, 0.0025
ONE_WIDTHS, ONE_SHARE = 0.35, 0.05  # so close, a pair is told from one curved decay only when it is plain
LOOKS, FURTHER = 2, 2  # rounds of adding and uniting in a band, and modes each round may add


@dataclass(frozen=True, eq=False)
class _Start:
    frequency_hz: FloatArray
    decay_rate_per_s: FloatArray

    def __len__(self) -> int:
        return len(self.frequency_hz)

    def where(self, keep: NDArray[Any]) -> "_Start":
        return _Start(self.frequency_hz[keep], self.decay_rate_per_s[keep])

    def joined(self, frequency_hz: FloatArray, decay_rate_per_s: FloatArray) -> "_Start":
        order = np.argsort(f := np.concatenate([self.frequency_hz, frequency_hz]))
        return _Start(f[order], np.concatenate([self.decay_rate_per_s, decay_rate_per_s])[order])


def station_poles(
    strikes: Sequence[FloatArray],
    noises: Sequence[FloatArray],
    sample_rate_hz: int,
    settings: Settings,
    free_s: float = 0.0,
) -> list[Pole]:
    """Poles common to the strikes of one station.

    strikes : S arrays (n_s,) float64, sample 0 at the onset, n_s at least 0.05 s.
    noises  : S arrays of samples from before each strike; may be empty, then the residual alone rules.
    free_s  : where the fit may begin at the earliest, s after the onset (later blows are over by then).
    """
    skip = round(max(SKIP_S, free_s) * sample_rate_hz)
    length = min(len(s) for s in strikes) - skip
    stacked = np.stack([s[skip : skip + length] for s in strikes])
    levels = _Ladder(Spectra(stacked, sample_rate_hz))
    bands = plan_bands(settings.lowest_hz, min(settings.highest_hz, 0.45 * sample_rate_hz))
    floors = _floors(levels, bands, NoiseDensity(noises, sample_rate_hz))
    starts = _starts(levels, bands, floors)
    clear = 10 ** (settings.mode_clear_db / 10)
    fits = [_fit_band(levels.for_band(b), b, starts, floors[b], clear) for b in bands]
    poles = sorted((pole for fit in fits for pole in fit), key=lambda p: p.frequency_hz)
    return [_at_onset(p, skip / sample_rate_hz) for p in _without_doubles(poles)]


def _floors(levels: "_Ladder", bands: Sequence[Band], noise: NoiseDensity) -> dict[Band, float]:
    """Mean square per sample of the white noise each band is held against.

    The measured noise, or more where a strike is so strong that no model of its ring is exact.
    """
    energy = {}
    for band in bands:
        _, values = levels.whole.bins(band.low_hz, band.high_hz)
        energy[band] = float(np.mean(np.abs(values) ** 2)) / levels.whole.length if values.size else 0.0
    faintest = DYNAMIC_RANGE * max(energy.values())
    return {b: max(noise.at(b.low_hz, b.high_hz), MODEL_ERROR * energy[b], faintest) for b in bands}


class _Ladder:
    """The same strikes at full, half, quarter... length; high bands decay fast and need less."""

    def __init__(self, whole: Spectra) -> None:
        self.whole = whole
        self._rungs = [whole]
        while self._rungs[-1].duration_s > 0.5:
            self._rungs.append(self._rungs[-1].shortened(self._rungs[-1].duration_s / 2))

    def for_band(self, band: Band) -> Spectra:
        """The shortest length after which a ten-thousandth of the band's energy is left."""
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


def _starts(levels: _Ladder, bands: Sequence[Band], floors: dict[Band, float]) -> _Start:
    """Start values over all bands; each band gives those it owns."""
    found_f, found_d = [], []
    for band in bands:
        spectra = levels.for_band(band)
        series, rate, centre = spectra.baseband(band)
        if series.shape[1] < 12:
            continue
        z = shared_poles(series, floors[band] * rate / spectra.rate, MOST_IN_BAND)
        log_z = np.log(z[np.abs(z) > 1e-6]) * rate
        f, d = centre + log_z.imag / (2 * np.pi), -log_z.real
        keep = (f >= band.low_hz) & (f < band.high_hz) & (d > -0.3 / spectra.duration_s) & (np.pi * f > LEAST_Q * d)
        found_f.append(f[keep])
        found_d.append(np.maximum(d[keep], 0.1 / spectra.duration_s))
    return _Start(np.empty(0), np.empty(0)).joined(np.concatenate([[], *found_f]), np.concatenate([[], *found_d]))


def _fit_band(spectra: Spectra, band: Band, starts: _Start, noise: float, clear: float) -> list[Pole]:
    low, high = band.low_hz - band.margin_hz, band.high_hz + band.margin_hz
    bins, values = spectra.bins(low, high)
    start = starts.where((starts.frequency_hz > low) & (starts.frequency_hz < high))
    floor = spectra.length * noise
    if len(bins) < 12 or not len(start):
        return []
    start = _thinned(start, len(bins))
    fit = _pruned(spectra, bins, values, start, floor, clear)
    for _ in range(LOOKS):
        if fit is None:
            return []
        fit = _widened(spectra, bins, values, fit, floor, clear)
        fit = _united(spectra, bins, values, fit, floor, clear)
    return _poles_of(fit, band) if fit is not None else []


def _widened(
    spectra: Spectra, bins: FloatArray, values: ComplexArray, fit: PoleFit, floor: float, clear: float
) -> PoleFit:
    """Add modes that the residual still shows, as long as each holds its own."""
    for _ in range(FURTHER):
        more = _second_look(spectra, bins, fit, clear)
        wider = _pruned(spectra, bins, values, more, floor, clear) if more is not None else None
        if wider is None or len(wider.frequency_hz) <= len(fit.frequency_hz):
            break
        fit = wider
    return fit


def _united(
    spectra: Spectra, bins: FloatArray, values: ComplexArray, fit: PoleFit, floor: float, clear: float
) -> PoleFit:
    """Make one of two poles closer than the linewidth where one explains the ring nearly as well.

    The damping of flake iron changes with amplitude (Golovin, Phys. Met. Metallogr. 113 (2012) 716), so a
    single mode's ring is no pure exponential; a split that explains little more of it is not a pair.
    """
    refused: set[int] = set()
    while (pair := _closest_pair(fit, refused)) is not None:
        one = _single_start(fit, pair)
        single = _pruned(spectra, bins, values, one, floor, clear)
        energy = _energy(spectra, bins, fit, pair)
        lost = np.sum(np.abs(single.residual) ** 2) - np.sum(np.abs(fit.residual) ** 2) if single else np.inf
        if single is not None and lost < _share(fit, pair) * energy:
            fit, refused = single, set()
        else:
            refused.add(pair)
    return fit


def _closest_pair(fit: PoleFit, refused: set[int]) -> int | None:
    """Index of the lower of the two poles closest in linewidths, if closer than PAIR_WIDTHS."""
    apart = _widths_apart(fit)
    apart[list(refused)] = np.inf
    return int(apart.argmin()) if apart.size and apart.min() < PAIR_WIDTHS else None


def _widths_apart(fit: PoleFit) -> FloatArray:
    width = fit.decay_rate_per_s / np.pi
    return np.abs(np.diff(fit.frequency_hz)) / (0.5 * (width[1:] + width[:-1]))


def _share(fit: PoleFit, pair: int) -> float:
    return ONE_SHARE if _widths_apart(fit)[pair] < ONE_WIDTHS else PAIR_SHARE


def _single_start(fit: PoleFit, pair: int) -> _Start:
    weight = np.sum(np.abs(fit.amplitudes[pair : pair + 2]) ** 2, axis=1) / fit.decay_rate_per_s[pair : pair + 2]
    weight /= weight.sum()
    keep = np.arange(len(fit.frequency_hz)) != pair
    f, d = fit.frequency_hz.copy(), fit.decay_rate_per_s.copy()
    f[pair + 1], d[pair + 1] = weight @ f[pair : pair + 2], weight @ d[pair : pair + 2]
    return _Start(f[keep], d[keep])


def _energy(spectra: Spectra, bins: FloatArray, fit: PoleFit, pair: int) -> float:
    both = slice(pair, pair + 2)
    shape, _, _ = mode_spectra(bins, fit.frequency_hz[both], fit.decay_rate_per_s[both], spectra.length, spectra.rate)
    return float(np.sum(np.abs(shape @ fit.amplitudes[both]) ** 2))


def _thinned(start: _Start, bins: int) -> _Start:
    """Never more unknowns than the bins can carry."""
    most = max(1, bins // 5)
    return start if len(start) <= most else start.where(np.argsort(start.decay_rate_per_s)[:most].astype(np.intp))


def _pruned(
    spectra: Spectra, bins: FloatArray, values: ComplexArray, start: _Start, floor: float, clear: float
) -> PoleFit | None:
    """Fit, drop what could be noise, fit again; only the last fit is carried to its end."""
    steps = ROUGH_STEPS
    while len(start):
        fit = fit_poles(
            bins,
            values,
            start.frequency_hz,
            start.decay_rate_per_s,
            length=spectra.length,
            rate_hz=spectra.rate,
            noise=floor,
            steps=steps,
        )
        worth = _worth(fit, bins)
        if worth.min() >= clear:
            if steps == FINAL_STEPS:
                return fit
            steps = FINAL_STEPS
            start = _sorted(fit)
            continue
        keep = worth >= HOPELESS * clear
        if keep.all():
            keep = np.arange(len(start)) != int(np.argmin(worth))
        start, steps = _Start(fit.frequency_hz[keep], fit.decay_rate_per_s[keep]), ROUGH_STEPS
    return None


def _sorted(fit: PoleFit) -> _Start:
    order = np.argsort(fit.frequency_hz)
    return _Start(fit.frequency_hz[order], fit.decay_rate_per_s[order])


def _worth(fit: PoleFit, bins: FloatArray) -> FloatArray:
    """Matched-filter level of each mode per strike; 0 for thuds and for what ran out of the band."""
    worth = fit.clear / fit.amplitudes.shape[1]
    thud = fit.frequency_hz * np.pi <= LEAST_Q * fit.decay_rate_per_s
    outside = (fit.frequency_hz < bins[0] - 5) | (fit.frequency_hz > bins[-1] + 5)
    return np.where(thud | outside, 0.0, worth)


def _second_look(spectra: Spectra, bins: FloatArray, fit: PoleFit, clear: float) -> _Start | None:
    """The fitted modes and one more where a damped mode explains most of the residual; None if none would."""
    decays = np.array([0.5, 1.0, 2.0]) * float(np.median(fit.decay_rate_per_s))
    best, place = clear, None
    for decay in decays:
        offsets = (np.arange(len(bins)) - len(bins) // 2) * (bins[1] - bins[0])
        kernel = mode_spectra(
            offsets + bins[len(bins) // 2],
            bins[len(bins) // 2, None],
            np.array([decay]),
            spectra.length,
            spectra.rate,
        )[0][:, 0]
        size = 2 * len(bins)
        match = np.fft.ifft(np.fft.fft(fit.residual, size, axis=0) * np.conj(np.fft.fft(kernel, size))[:, None], axis=0)
        match = np.roll(match, len(bins) // 2, axis=0)[: len(bins)]
        gain = np.sum(np.abs(match) ** 2, axis=1) / np.sum(np.abs(kernel) ** 2) / fit.noise / fit.residual.shape[1]
        if gain.max() > best:
            best, place = float(gain.max()), (float(bins[int(gain.argmax())]), float(decay))
    if place is None:
        return None
    return _Start(fit.frequency_hz, fit.decay_rate_per_s).joined(np.array([place[0]]), np.array([place[1]]))


def _poles_of(fit: PoleFit, band: Band) -> list[Pole]:
    m = len(fit.frequency_hz)
    sd = np.sqrt(np.diag(fit.covariance))
    return [
        Pole(
            frequency_hz=float(fit.frequency_hz[i]),
            frequency_sd_hz=float(sd[i]),
            decay_rate_per_s=float(fit.decay_rate_per_s[i]),
            decay_rate_sd_per_s=float(sd[m + i]),
            amplitudes=tuple(complex(a) for a in fit.amplitudes[i]),
            clear_db=float(10 * np.log10(fit.clear[i] / fit.amplitudes.shape[1])),
        )
        for i in range(m)
        if band.low_hz <= fit.frequency_hz[i] < band.high_hz
    ]


def _without_doubles(poles: list[Pole]) -> list[Pole]:
    """Two bands may both claim a mode at their common edge: keep the one seen more clearly."""
    kept: list[Pole] = []
    for pole in poles:
        if kept:
            last = kept[-1]
            near = 3 * (pole.frequency_sd_hz + last.frequency_sd_hz)
            if pole.frequency_hz - last.frequency_hz < near < 1.0:
                kept[-1] = max(last, pole, key=lambda p: p.clear_db)
                continue
        kept.append(pole)
    return kept


def _at_onset(pole: Pole, seconds: float) -> Pole:
    """Amplitudes carried back from the start of the fit to the onset."""
    back = complex(np.exp((pole.decay_rate_per_s - 2j * np.pi * pole.frequency_hz) * seconds))
    return Pole(
        pole.frequency_hz,
        pole.frequency_sd_hz,
        pole.decay_rate_per_s,
        pole.decay_rate_sd_per_s,
        tuple(a * back for a in pole.amplitudes),
        pole.clear_db,
    )
