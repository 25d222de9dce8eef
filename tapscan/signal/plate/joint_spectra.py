"""All strikes of all stations side by side, for the fit of all stations together.

    StationSound                           what one station brings: its strikes, their noise, the poles it gave alone
    alike(sounds)                          those that can be fitted together
    gathered(sounds, workers)              JointSpectra: spectra over one common length, and over halves of it
    side_by_side(sounds, parts, workers)   spectra over some lengths alone
    joint.scale(band, bins, values, rung)  what brings each strike's noise to mean square 1
    weighed(joint, band, modes)            WeighedBand: one band's spectra, scaled, each station's warming taken out
    better_drift(joint, fitted, modes)     each station's shift, mended by what the modes leave over

The plate may warm while it is tapped. Each station's common shift is measured in every round of the fit,
and taken out of its spectra before the next; a fit that forgets this splits every mode.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.fft import rfft

from tapscan.records import ComplexArray, FloatArray, Force, Pole
from tapscan.signal.fit.fast_length import down_from
from tapscan.signal.fit.mode_arrays import ModeArrays
from tapscan.signal.fit.noise import NoiseDensity
from tapscan.signal.fit.polefit import BACKGROUND_TERMS, mode_spectra, smooth_terms
from tapscan.signal.fit.subbands import Band, Spectra
from tapscan.signal.plate.room_limit import LateSlope
from tapscan.workers import ALONE, Workers

HIGHEST_HZ = 2500.0  # above, single modes are not to be trusted (modal overlap about 0.5)
LENGTH_SHARE = 0.6  # of the median; a station heard for less would shorten the fit of all
KEPT = 1.3  # of HIGHEST_HZ: so far the spectra are kept
MODEL_ERROR = 1e-6  # of a band's energy: no real ring follows the model closer
SHORTEST_S = 0.5
CONSTANTS = 4.6  # of the decay rate: after these a mode has fallen by 40 dB
MARGINS = 0.6  # band widths on either side that are kept; the fit looks at half a width
LEAST_DRIFT = 5e-7
LEAST_BEND = 5e-6  # a twentieth of a kelvin: from here on the square of a shift shows in the decays
BENT = 1e-6  # of the frequency, step of the difference that tells it
TOGETHER = 4  # bands that one process takes at a time
MOST_DRIFT = 1e-3  # ten kelvin: no plate warms so within a scan, and a shift of few modes can run away


class StationSound(Struct, frozen=True, eq=False):
    """What one station brings; float32 keeps 140 dB in half the memory."""

    station: str
    strikes: np.ndarray  # (S, n) float32, sample 0 at the onset, full scale = 1
    noise: NoiseDensity
    poles: tuple[Pole, ...]  # what the station gave alone, above HIGHEST_HZ where there are other stations
    sample_rate_hz: int
    free_s: float  # from the onset to where the plate rings freely
    level_db: tuple[float, ...]  # of each strike: rms of the first 0.5 s, dB re full scale
    named: tuple[str, ...] = ()  # Strike.id of each strike
    forces: tuple[Force | None, ...] = ()  # as declared, of each strike
    late: tuple[LateSlope, ...] = ()  # how the end of the ring falls, by band
    contact: bool = False  # known to be a pickup on the iron, which hears no room

    @property
    def ring(self) -> np.ndarray:
        """(S, m) the strikes from where the plate rings freely."""
        return self.strikes[:, self.free_samples :]

    @property
    def free_samples(self) -> int:
        """From the onset to there."""
        return round(self.free_s * self.sample_rate_hz)


class KeptSpectra(Spectra):
    """Spectra of which only some bins are kept, from number `first` on."""

    def __init__(self, full: ComplexArray, length: int, rate: int, first: int = 0) -> None:
        self.rate, self.length, self.first = rate, length, first
        self.full = full
        self.strikes = np.empty((len(full), 0))
        self._bands = {}

    def holding(self, bins: FloatArray, values: ComplexArray) -> KeptSpectra:
        """The same record with other values (K, S) at some of its bins, in one piece of memory."""
        first = round(bins[0] * self.length / self.rate)
        return KeptSpectra(np.ascontiguousarray(values.T), self.length, self.rate, first)

    def near(self, band: Band) -> KeptSpectra:
        """What `baseband` looks at, and no more."""
        centre, half = self.around(band)
        first, last = max(self.first, centre - half), min(self.first + self.full.shape[1], centre + half)
        part = self.full[:, first - self.first : last - self.first].copy()
        return KeptSpectra(part, self.length, self.rate, first)

    def bins(self, low_hz: float, high_hz: float) -> tuple[FloatArray, ComplexArray]:
        """Frequencies (K,) in Hz and spectra (K, S) of those kept between two frequencies."""
        step = self.rate / self.length
        first = max(1, self.first, int(np.ceil(low_hz / step)))
        last = min(self.first + self.full.shape[1] - 1, int(np.floor(high_hz / step)))
        return np.arange(first, last + 1) * step, self.full[:, first - self.first : last + 1 - self.first].T


class JointSpectra(Struct, frozen=True, eq=False):
    """All columns (strikes of all stations) and what is known of each."""

    sounds: tuple[StationSound, ...]
    owner: np.ndarray  # (S,) number of the station
    drift: FloatArray  # (S,) relative shift of its frequencies
    rungs: tuple[KeptSpectra, ...]  # full length, half, quarter...

    def noise(self, band: Band) -> FloatArray:
        """(S,) mean square of white noise as strong as the noise of each strike in a band."""
        return np.array([s.noise.at(band.low_hz, band.high_hz) for s in self.sounds])[self.owner]

    def scale(self, band: Band, bins: FloatArray, values: ComplexArray, rung: KeptSpectra) -> FloatArray:
        """(S,) what brings each strike's noise, or what no model of its ring follows, to mean square 1 a sample."""
        inside = (bins >= band.low_hz) & (bins < band.high_hz)
        energy = np.mean(np.abs(values[inside]) ** 2, axis=0) / rung.length
        return np.asarray(1 / np.sqrt(np.maximum(self.noise(band), MODEL_ERROR * energy) + 1e-300))

    def rung_for(self, decay_rates_per_s: FloatArray) -> KeptSpectra:
        """The shortest record at whose end the slower modes have fallen by 40 dB."""
        if not len(decay_rates_per_s):
            return self.rungs[-1]
        wanted_s = CONSTANTS / float(np.quantile(decay_rates_per_s, 0.2))
        return next((r for r in reversed(self.rungs) if r.duration_s >= wanted_s), self.rungs[0])


class WeighedBand(Struct, frozen=True, eq=False):
    """One band's spectra with the drift taken out, each column scaled to noise of mean square 1."""

    spectra: KeptSpectra
    scale: FloatArray  # (S,)


def alike(sounds: Sequence[StationSound]) -> list[StationSound]:
    """Those of the most common rate whose ring is not much shorter than most."""
    rates = [s.sample_rate_hz for s in sounds]
    rate = max(set(rates), key=rates.count) if rates else 0
    same = [s for s in sounds if s.sample_rate_hz == rate]
    middle = float(np.median([s.ring.shape[1] for s in same])) if same else 0.0
    return [s for s in same if s.ring.shape[1] >= LENGTH_SHARE * middle]


def gathered(sounds: Sequence[StationSound], workers: Workers = ALONE) -> JointSpectra:
    """Spectra of all strikes over one common length, and halves of it."""
    rate, length = sounds[0].sample_rate_hz, min(s.ring.shape[1] for s in sounds)
    owner = np.repeat(np.arange(len(sounds)), [len(s.strikes) for s in sounds])
    parts: list[tuple[int, int]] = []
    while not parts or length > SHORTEST_S * rate:
        n = down_from(length, real=True)
        parts.append((n, min(n // 2 + 1, int(HIGHEST_HZ * KEPT * n / rate))))
        length //= 2
    rungs = zip(parts, side_by_side(sounds, parts, workers), strict=True)
    return JointSpectra(
        tuple(sounds), owner, np.zeros(len(owner)), tuple(KeptSpectra(full, n, rate) for (n, _), full in rungs)
    )


def side_by_side(
    sounds: Sequence[StationSound], parts: Sequence[tuple[int, int]], workers: Workers = ALONE
) -> list[ComplexArray]:
    """(S, bins) spectra of all strikes over each of some lengths; parts : samples, and how many bins are kept."""
    kept = workers.map(_beginnings, (_Rings(s.strikes, s.free_samples, tuple(parts)) for s in sounds))
    return [np.concatenate(rows) for rows in zip(*kept, strict=True)]


class _Rings(NamedTuple):
    """Of one station."""

    strikes: np.ndarray  # (S, n)
    free: int  # sample from which they ring freely
    parts: tuple[tuple[int, int], ...]


def _beginnings(rings: _Rings) -> list[ComplexArray]:
    free = rings.strikes[:, rings.free :]
    return [rfft(free[:, :n].astype(float), axis=1)[:, :bins].copy() for n, bins in rings.parts]


def weighed(joint: JointSpectra, band: Band, near: ModeArrays | FloatArray) -> WeighedBand:
    """Near : modes around the band with their amplitudes, or before any are known the decay rates (M,) that are expected."""
    reach = MARGINS * band.width_hz
    rung = joint.rung_for(near.decay_rate_per_s if isinstance(near, ModeArrays) else near)
    bins, values = rung.bins(band.low_hz - reach, band.high_hz + reach)
    scale = joint.scale(band, bins, values, rung)
    if isinstance(near, ModeArrays):
        values = values - _shifted(joint, bins, near, rung)
    return WeighedBand(rung.holding(bins, values * scale), scale)


def _shifted(joint: JointSpectra, bins: FloatArray, modes: ModeArrays, rung: KeptSpectra) -> ComplexArray | float:
    """(K, S) what each station's drift does to its spectra, which is far below a width. To first order alone, a shift would look like a faster decay."""
    most = np.abs(joint.drift).max()
    if not len(modes) or most < LEAST_DRIFT:
        return 0.0
    change = by_shift(bins, modes, rung)[1] * joint.drift
    if most < LEAST_BEND:
        return change
    up, down = (
        by_shift(bins, replace(modes, frequency_hz=modes.frequency_hz * x), rung)[1] for x in (1 + BENT, 1 - BENT)
    )
    return np.asarray(change + (up - down) / (4 * BENT) * joint.drift**2)


def better_drift(
    joint: JointSpectra, fitted: Iterable[tuple[Band, WeighedBand]], modes: ModeArrays, workers: Workers = ALONE
) -> FloatArray:
    """(S,) each station's shift, mended by regression of the residual on the change that a shift makes."""
    stations = len(joint.sounds)
    bands = [(b, p) for b, p in fitted if modes.between(b.low_hz, b.high_hz).any()]
    some = [bands[k : k + TOGETHER] for k in range(0, len(bands), TOGETHER)]
    up, down = np.zeros(stations), np.full(stations, 1e-30)
    work = (_DriftWork([_part(b, p) for b, p in part], modes, joint.owner, stations) for part in some)
    for told in (one for part in workers.map(_drifts, work) for one in part):
        up += told[0]
        down += told[1]
    total = np.array([joint.drift[joint.owner == i][0] for i in range(stations)]) + up / down
    return np.asarray(np.clip(total - np.median(total), -MOST_DRIFT, MOST_DRIFT)[joint.owner])


def _part(band: Band, part: WeighedBand) -> tuple[Band, WeighedBand]:
    """The band without its margins."""
    inside = part.spectra.bins(band.low_hz, band.high_hz)
    return band, WeighedBand(part.spectra.holding(*inside), part.scale)


class _DriftWork(NamedTuple):
    """Some bands, each with a mode at least; one takes less time than it takes to hand it over."""

    bands: list[tuple[Band, WeighedBand]]
    modes: ModeArrays
    owner: np.ndarray  # (S,)
    stations: int


def _drifts(work: _DriftWork) -> list[tuple[FloatArray, FloatArray]]:
    """(stations,) of each band: what speaks for a shift, and how much is known of it."""
    return [_drift(band, part, work) for band, part in work.bands]


def _drift(band: Band, part: WeighedBand, work: _DriftWork) -> tuple[FloatArray, FloatArray]:
    kept, modes = part.spectra, work.modes
    bins, values = kept.bins(band.low_hz, band.high_hz)
    rest = values - modes.spectra(bins, kept.length, kept.rate) * part.scale
    model, change = by_shift(bins, modes.where(modes.between(band.low_hz, band.high_hz)), kept)
    taken, _ = np.linalg.qr(
        np.hstack([model, smooth_terms(bins, BACKGROUND_TERMS)])
    )  # what free amplitudes would take up
    rest, change = (x - taken @ (taken.conj().T @ x) for x in (rest, change * part.scale))
    doubt = np.mean(np.abs(rest) ** 2)
    sums = np.sum(change.conj() * rest, axis=0).real, np.sum(np.abs(change) ** 2, axis=0)
    up, down = (np.bincount(work.owner, one / doubt, work.stations).astype(float) for one in sums)
    return up, down


def by_shift(bins: FloatArray, modes: ModeArrays, kept: KeptSpectra) -> tuple[ComplexArray, ComplexArray]:
    """Spectra of the modes (K, M), and how the columns (K, S) change with a relative shift of all frequencies."""
    f = modes.frequency_hz
    model, slope = mode_spectra(bins, f, modes.decay_rate_per_s, kept.length, kept.rate)
    return model, slope @ (2j * np.pi / kept.rate * f[:, None] * modes.amplitudes)
