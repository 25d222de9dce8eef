"""Fit the modes of one band: prune what could be noise, look through the residual, unite what is one.

    fit_band(spectra, band, starts, noise, clear)   list of Pole that the band owns
    poles_of(fit)                                   all poles of a finished fit

`noise` is the mean square per sample of the white noise the band is held against, `clear` the matched-filter
level (a ratio of energies) that a mode must reach per strike.
"""

from typing import Any

import numpy as np
from msgspec import Struct
from numpy.fft import fft, ifft
from numpy.typing import NDArray

from tapscan.records import ComplexArray, FloatArray, Pole
from tapscan.signal.fit.fast_length import up_from
from tapscan.signal.fit.polefit import PoleFit, fit_poles, mode_values
from tapscan.signal.fit.spurious import LEAST_STATIONS, MIXTURE, echoes, explained
from tapscan.signal.fit.subbands import Band, Spectra

LEAST_Q = 12.0  # below this a "mode" is a thud
ROUGH_STEPS, FINAL_STEPS = 3, 12
HOPELESS = 0.3  # of the clear level: such modes are dropped together
PAIR_WIDTHS, PAIR_SHARE = 0.6, 0.0025
ONE_WIDTHS, ONE_SHARE = 0.35, 0.05  # so close, a pair is told from one curved decay only when it is plain
ALIKE = 0.9  # of the strike patterns: two poles with other patterns are two modes, however close
LEAST_BINS = 12
TRIES = 6
EDGE_SD = 3.0
LOOKS, FURTHER = 2, 2  # rounds of adding and uniting in a band, and modes each round may add


class Start(Struct, frozen=True, eq=False):
    """Start values of M modes, in order of frequency."""

    frequency_hz: FloatArray
    decay_rate_per_s: FloatArray

    def __len__(self) -> int:
        return len(self.frequency_hz)

    def where(self, keep: NDArray[Any]) -> "Start":
        """Those that are to stay."""
        return Start(self.frequency_hz[keep], self.decay_rate_per_s[keep])

    def within(self, low_hz: float, high_hz: float) -> NDArray[np.bool_]:
        """(M,) which lie between two frequencies."""
        return (self.frequency_hz > low_hz) & (self.frequency_hz < high_hz)

    def joined(self, frequency_hz: FloatArray, decay_rate_per_s: FloatArray) -> "Start":
        """These and more."""
        order = np.argsort(f := np.concatenate([self.frequency_hz, frequency_hz]))
        return Start(f[order], np.concatenate([self.decay_rate_per_s, decay_rate_per_s])[order])


class _Task(Struct, frozen=True, eq=False):
    """One band of one set of strikes."""

    spectra: Spectra
    bins: FloatArray  # (K,)
    values: ComplexArray  # (K, S)
    floor: float  # noise energy a bin
    clear: float
    stations: int  # how many the strikes come from


def fit_band(
    spectra: Spectra,
    band: Band,
    starts: Start,
    noise: float,
    clear: float,
    looks: int = LOOKS,
    stations: int = 1,
) -> list[Pole]:
    """Poles that `band` owns, amplitudes at sample 0 of `spectra`; `starts` may reach beyond the band.

    looks    : rounds of adding what the residual shows and uniting what is one.
    stations : how many the strikes come from; with enough of them echoes of stronger modes are told from modes.
    """
    fit = fit_window(spectra, band, starts, noise, clear, looks, stations)
    return owned(fit, band) if fit is not None else []


def fit_window(
    spectra: Spectra,
    band: Band,
    starts: Start,
    noise: float,
    clear: float,
    looks: int,
    stations: int,
    steps: int = FINAL_STEPS,
) -> PoleFit | None:
    """The same of all that the band listens to; None where nothing rings. steps : of the last fit."""
    low, high = listens(band)
    bins, values = spectra.bins(low, high)
    if len(bins) < LEAST_BINS:
        return None
    task = _Task(spectra, bins, values, spectra.length * noise, clear, stations)
    start = _thinned(starts.where(starts.within(low, high)), len(bins))
    fit = _pruned(task, start, last_steps=steps) if len(start) else None
    fit = fit or _nothing(values, task.floor)
    for _ in range(looks):
        wider, done = _widened(task, fit)
        if not len(wider.frequency_hz):
            return None
        before, fit = fit, _united(task, wider)
        if len(fit.frequency_hz) == len(before.frequency_hz) or (done and fit is wider):
            break
    return fit


def listens(band: Band) -> tuple[float, float]:
    """From where to where a band's fit looks."""
    return band.low_hz - band.margin_hz, band.high_hz + band.margin_hz


def _nothing(values: ComplexArray, floor: float) -> PoleFit:
    """A fit of no mode: all is residual."""
    none, shape = np.empty(0), (0, values.shape[1])
    noise = floor or _quiet(values)
    return PoleFit(none, none, np.empty(shape, dtype=complex), none, values, noise, np.empty((0, 0)), none)


def _quiet(values: ComplexArray) -> float:
    """Mean energy a bin of white noise, whatever a mode adds elsewhere."""
    return float(np.quantile(np.abs(values) ** 2, 0.1)) / -np.log(0.9)


def _widened(task: _Task, fit: PoleFit) -> tuple[PoleFit, bool]:
    """Add modes that the residual still shows, as long as each holds its own; and whether it shows no more of them."""
    for _ in range(FURTHER):
        more = _second_look(task, fit)
        wider = _pruned(task, more, len(fit.frequency_hz) + 1) if more is not None else None
        if wider is None:
            return fit, True
        fit = wider
    return fit, False


def _united(task: _Task, fit: PoleFit) -> PoleFit:
    """Make one of two poles closer than the linewidth where one explains the ring nearly as well.

    The damping of flake iron changes with amplitude (Golovin, Phys. Met. Metallogr. 113 (2012) 716), so a
    single mode's ring is no pure exponential; a split that explains little more of it is not a pair.
    """
    refused: set[int] = set()
    while (pair := _closest_pair(fit, refused)) is not None:
        single = _as_one(task, fit, pair)
        if single is not None:
            fit, refused = single, set()
        else:
            refused.add(pair)
    return fit


def _as_one(task: _Task, fit: PoleFit, pair: int) -> PoleFit | None:
    """One pole in the place of two; None where it explains too little."""
    share = _share(fit, pair)
    single = _pruned(task, _single_start(fit, pair)) if share else None
    if single is None:
        return None
    lost = np.sum(np.abs(single.residual) ** 2) - np.sum(np.abs(fit.residual) ** 2)
    return single if lost < share * _energy(task, fit, pair) else None


def _closest_pair(fit: PoleFit, refused: set[int]) -> int | None:
    """Index of the lower of the two poles closest in linewidths, if closer than PAIR_WIDTHS."""
    apart = _widths_apart(fit)
    apart[list(refused)] = np.inf
    return int(apart.argmin()) if apart.size and apart.min() < PAIR_WIDTHS else None


def _widths_apart(fit: PoleFit) -> FloatArray:
    width = fit.decay_rate_per_s / np.pi
    return np.abs(np.diff(fit.frequency_hz)) / (0.5 * (width[1:] + width[:-1]))


def _share(fit: PoleFit, pair: int) -> float:
    a, b = fit.amplitudes[pair], fit.amplitudes[pair + 1]
    mac = abs(np.vdot(a, b)) ** 2 / (np.vdot(a, a).real * np.vdot(b, b).real)
    if mac < ALIKE:
        return 0.0
    return ONE_SHARE if _widths_apart(fit)[pair] < ONE_WIDTHS else PAIR_SHARE


def _single_start(fit: PoleFit, pair: int) -> Start:
    weight = np.sum(np.abs(fit.amplitudes[pair : pair + 2]) ** 2, axis=1) / fit.decay_rate_per_s[pair : pair + 2]
    weight /= weight.sum()
    keep = np.arange(len(fit.frequency_hz)) != pair
    f, d = fit.frequency_hz.copy(), fit.decay_rate_per_s.copy()
    f[pair + 1], d[pair + 1] = weight @ f[pair : pair + 2], weight @ d[pair : pair + 2]
    return Start(f[keep], d[keep])


def _energy(task: _Task, fit: PoleFit, pair: int) -> float:
    both, spectra, bins = slice(pair, pair + 2), task.spectra, task.bins
    shape = mode_values(bins, fit.frequency_hz[both], fit.decay_rate_per_s[both], spectra.length, spectra.rate)
    return float(np.sum(np.abs(shape @ fit.amplitudes[both]) ** 2))


def _thinned(start: Start, bins: int) -> Start:
    """Never more unknowns than the bins can carry."""
    most = max(1, bins // 5)
    return start if len(start) <= most else start.where(np.argsort(start.decay_rate_per_s)[:most].astype(np.intp))


def _pruned(task: _Task, start: Start, least: int = 1, last_steps: int = FINAL_STEPS) -> PoleFit | None:
    """Fit, drop what could be noise, fit again; only the last fit is carried to its end. None where fewer than `least` are left."""
    steps, fit = ROUGH_STEPS, None
    while len(start) >= least:
        fit = fit_poles(
            task.bins,
            task.values,
            start.frequency_hz,
            start.decay_rate_per_s,
            length=task.spectra.length,
            rate_hz=task.spectra.rate,
            noise=task.floor,
            steps=steps,
            before=fit,
        )
        worth = _worth(task, fit)
        if worth.min() >= task.clear:
            if steps >= last_steps or fit.settled:
                return fit
            steps = last_steps
            start = _sorted(fit)
            continue
        keep = worth >= HOPELESS * task.clear
        if keep.all():
            keep = np.arange(len(start)) != int(np.argmin(worth))
        start, steps = Start(fit.frequency_hz[keep], fit.decay_rate_per_s[keep]), ROUGH_STEPS
    return None


def _sorted(fit: PoleFit) -> Start:
    order = np.argsort(fit.frequency_hz)
    return Start(fit.frequency_hz[order], fit.decay_rate_per_s[order])


def _worth(task: _Task, fit: PoleFit) -> FloatArray:
    """Matched-filter level of each mode per strike; 0 for thuds, for what ran out of the band, and for echoes."""
    bins = task.bins
    worth = fit.clear / fit.amplitudes.shape[1]
    thud = fit.frequency_hz * np.pi <= LEAST_Q * fit.decay_rate_per_s
    outside = (fit.frequency_hz < bins[0] - 5) | (fit.frequency_hz > bins[-1] + 5)
    echo = echoes(fit.frequency_hz, fit.decay_rate_per_s, fit.amplitudes, task.stations)
    return np.where(thud | outside | echo, 0.0, worth)


def _second_look(task: _Task, fit: PoleFit) -> Start | None:
    """The fitted modes and one more where a damped mode explains most of the residual; None if none would."""
    best, place = task.clear, None
    many = len(task.bins)
    size = up_from(2 * many - many // 2)  # what runs round stays out of what is looked at
    strikes = fit.residual.shape[1]
    seen = fft(np.ascontiguousarray(fit.residual.T), size, axis=1)
    for decay in _likely_decays(task, fit):
        kernel = _line(task, float(decay))
        energy = float(np.vdot(kernel, kernel).real)
        match = ifft(seen * fft(kernel, size).conj(), axis=1)
        match = np.asarray(
            np.concatenate([match[:, size - many // 2 :], match[:, : many - many // 2]], axis=1) / energy
        )
        gain = np.sum(match.real**2 + match.imag**2, axis=0) * energy / fit.noise / strikes
        peak = _best_peak(task, fit, match, gain, float(decay))
        if peak is not None and gain[peak] > best:
            best, place = float(gain[peak]), (float(task.bins[peak]), float(decay))
    if place is None:
        return None
    return Start(fit.frequency_hz, fit.decay_rate_per_s).joined(np.array([place[0]]), np.array([place[1]]))


def _line(task: _Task, decay_rate_per_s: float) -> ComplexArray:
    """(K,) spectrum of a mode in the middle of the bins."""
    middle, step = len(task.bins) // 2, task.bins[1] - task.bins[0]
    bins = task.bins[middle] + (np.arange(len(task.bins)) - middle) * step
    centre = task.bins[middle : middle + 1]
    model = mode_values(bins, centre, np.array([decay_rate_per_s]), task.spectra.length, task.spectra.rate)
    return model[:, 0]


def _best_peak(task: _Task, fit: PoleFit, match: NDArray[Any], gain: FloatArray, decay: float) -> int | None:
    """Bin of the highest gain that is not the echo of a fitted mode; `match` (S, K) are amplitudes there."""
    others = fit.frequency_hz, fit.decay_rate_per_s, fit.amplitudes
    left = gain.copy()
    for _ in range(TRIES):
        peak = int(left.argmax())
        if left[peak] < task.clear:
            return None
        if task.stations < LEAST_STATIONS or not len(fit.frequency_hz):
            return peak
        if explained(match[:, peak], float(task.bins[peak]), decay, others, task.stations) < MIXTURE:
            return peak
        reach = max(2, round(decay / np.pi / (task.bins[1] - task.bins[0])))
        left[max(0, peak - reach) : peak + reach + 1] = 0.0
    return None


def _likely_decays(task: _Task, fit: PoleFit) -> FloatArray:
    """Around what the band's other modes show; without any, from as slow as can be seen to as fast as a mode may be."""
    if len(fit.decay_rate_per_s):
        return np.array([0.5, 1.0, 2.0]) * float(np.median(fit.decay_rate_per_s))
    return np.geomspace(2 / task.spectra.duration_s, np.pi * task.bins.mean() / LEAST_Q, 5)


def poles_of(fit: PoleFit) -> list[Pole]:
    """The fitted modes, in the order of the fit."""
    m = len(fit.frequency_hz)
    sd = np.sqrt(np.diag(fit.covariance))
    return [
        Pole(
            frequency_hz=float(fit.frequency_hz[i]),
            frequency_sd_hz=float(sd[i]),
            decay_rate_per_s=float(fit.decay_rate_per_s[i]),
            decay_rate_sd_per_s=float(sd[m + i]),
            amplitudes=tuple(fit.amplitudes[i].tolist()),
            snr_db=float(10 * np.log10(fit.clear[i] / fit.amplitudes.shape[1])),
        )
        for i in range(m)
    ]


def owned(fit: PoleFit, band: Band) -> list[Pole]:
    """Poles inside the band's own edges, or so near them that the neighbour may think them ours."""
    poles = poles_of(fit)
    reach = [EDGE_SD * p.frequency_sd_hz for p in poles]
    return [p for p, r in zip(poles, reach, strict=True) if band.low_hz - r <= p.frequency_hz < band.high_hz + r]
