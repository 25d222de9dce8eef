"""One more fit, of all stations at once: what one station hides another shows.

    together(sounds, settings)                Together: the modes, and the room where one rings along

At one station the strikes differ in little but their force, so two modes that overlap look like one, and each
station errs its own way. Between stations a mode's strength changes freely: modes a fraction of their
linewidth apart are told by it, and a pole that only mends the shape of a stronger one, with that one's pattern over the
stations, is no mode (a room, or damping that changes with amplitude, makes such poles).

The plate may warm while it is tapped: each round of the fit takes out what the one before found (joint_spectra.py).

Where a room rings along, these modes leave much of the sound unexplained, or the end of the ring falls as a room does (room_limit.py): then they are told
by their patterns alone (room_fit.py).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from tapscan.records import NO_ROOM, ComplexArray, FloatArray, Pole, RoomRing, SelfScatter
from tapscan.settings import Settings
from tapscan.signal.fit.bandfit import FINAL_STEPS, ROUGH_STEPS, Start, fit_window, listens, owned
from tapscan.signal.fit.mode_arrays import ModeArrays
from tapscan.signal.fit.polefit import BACKGROUND_TERMS, smooth_terms
from tapscan.signal.fit.spurious import LEAST_STATIONS, without_satellites
from tapscan.signal.fit.subbands import Band, Spectra, plan_bands
from tapscan.signal.fit.subspace import Covariance
from tapscan.signal.plate.companions import united
from tapscan.signal.plate.joint_spectra import (
    HIGHEST_HZ,
    MARGINS,
    MODEL_ERROR,
    JointSpectra,
    KeptSpectra,
    StationSound,
    WeighedBand,
    alike,
    better_drift,
    gathered,
    weighed,
)
from tapscan.signal.plate.room_fit import (
    LEAST_MARGIN_HZ,
    LEAST_S,
    MARGIN,
    ROOM_SHARE,
    TOLD_BELOW_HZ,
    RoomBand,
    narrowed,
    patterned,
    room_band,
    room_poles,
    room_ring,
)
from tapscan.signal.plate.room_limit import limit_of
from tapscan.signal.plate.self_scatter import held
from tapscan.signal.plate.station_fit import LEAST_SERIES, Ladder, joined, starts_of, without_doubles
from tapscan.workers import ALONE, Workers

LOOKS = (0, 0, 0, 8, 8)  # in each round; the first ones only measure the warming, and none more than it takes
LOWEST_HZ = 12.0
STILL = 5e-6  # of the frequency: a plate whose warming is known so well needs no further round for it
MOST_IN_BAND = 40
IN_ROOM = "the modes are told by their patterns, which all taps share"
FEW = f"needs {LEAST_STATIONS} places or more with taps alike in rate and length"


class SharedMode(Struct, frozen=True, eq=False):
    """A mode of the plate, and how each station that took part shows it."""

    frequency_hz: float
    frequency_sd_hz: float
    decay_rate_per_s: float
    decay_rate_sd_per_s: float
    at: dict[str, Pole]  # by station: the same pole with that station's amplitudes at the onset and its own snr_db
    widened: tuple[float, float] = (1.0, 1.0)  # see Pole


class Together(Struct, frozen=True, eq=False):
    """What all stations tell together."""

    modes: tuple[SharedMode, ...] = ()
    room: RoomRing | None = None
    room_reason: str | None = FEW  # why there is none
    scatter: SelfScatter | None = None
    scatter_reason: str | None = "needs two places or more with taps alike in rate and length"
    room_left_in: bool = False  # see Scan


def together(sounds: Sequence[StationSound], settings: Settings, workers: Workers = ALONE) -> Together:
    """Modes below 2.5 kHz from all stations together, and the room's ring where it is in the sound.

    Sounds of another rate, or much shorter than most, take no part. Empty where fewer than two stations are left.
    """
    sounds = alike(sounds)
    by_air = any(not s.contact for s in sounds)
    if len(sounds) < 2:
        return Together(room_left_in=by_air)
    joint = gathered(sounds, workers)
    bands = [b for b in plan_bands(settings.fit.lowest_hz, settings.fit.highest_hz) if b.low_hz < HIGHEST_HZ]
    columns = len(joint.owner)
    clear = (10 ** (settings.fit.mode_snr_db / 10) + columns + 4 * np.sqrt(columns)) / columns
    fit = _fitted(joint, bands, settings, clear, workers)
    unexplained = _unexplained(fit)
    told = _in_room(joint, bands, settings, unexplained, workers)
    if isinstance(told, str):
        found = _of_free_modes(fit, settings, workers)
        return replace(found, room_reason=told, room_left_in=by_air and told != NO_ROOM)
    return Together(_of_room(told, joint, settings, clear), room_ring(told, unexplained), None, None, IN_ROOM)


def _in_room(
    joint: JointSpectra, bands: Sequence[Band], settings: Settings, unexplained: float, workers: Workers
) -> list[RoomBand] | str:
    """The bands as a room drives their modes; or why that cannot be told."""
    if len(joint.sounds) < LEAST_STATIONS:
        return FEW
    if unexplained < ROOM_SHARE and limit_of([s.late for s in joint.sounds]) is None:
        return NO_ROOM
    if joint.rungs[0].duration_s < LEAST_S:
        return f"the rings are shorter than {LEAST_S:.0f} s"
    try:
        if not _struck_apart(joint, Band(settings.fit.lowest_hz, TOLD_BELOW_HZ)):
            return "the places were tapped too much alike, or hardly louder than the noise"
        return _by_pattern(joint, bands, workers) or "nothing rings"
    except np.linalg.LinAlgError as problem:
        return f"the sums have no solution ({problem})"


class _Fitted(NamedTuple):
    """Poles that nothing drives after the blow, and the bands' spectra they were fitted to."""

    joint: JointSpectra
    poles: list[Pole]
    parts: dict[Band, WeighedBand]


def _fitted(joint: JointSpectra, bands: Sequence[Band], settings: Settings, clear: float, workers: Workers) -> _Fitted:
    bands = [Band(LOWEST_HZ, settings.fit.lowest_hz), *bands]  # not reported, but its tails are heard
    starts = joined(workers.map(_band_starts, _start_work(joint, bands)))
    modes: ModeArrays | None = None
    still = False
    for number, looks in enumerate(LOOKS, 1):
        if still and not looks:
            continue
        parts: dict[Band, WeighedBand] = {}
        work = _band_work(joint, bands, modes, _Round(starts, clear, len(joint.sounds), looks), parts)
        poles = without_doubles(workers.map(_band_poles, work)[::-1])
        if not poles:
            break
        modes = ModeArrays.of(poles)
        starts = Start(modes.frequency_hz, modes.decay_rate_per_s)
        if number < len(LOOKS):
            drift = better_drift(joint, ((b, parts[b]) for b in bands), modes, workers)
            still = float(np.abs(drift - joint.drift).max()) < STILL
            joint = replace(joint, drift=drift)
    return _Fitted(joint, poles, parts)


def _of_free_modes(fit: _Fitted, settings: Settings, workers: Workers) -> Together:
    """Companions made one, standard deviations as the strikes agree."""
    joint, _, fitted = fit
    if not fit.poles:
        return Together()
    poles = united(joint, fit.poles, lambda hz: _part_of(fitted, hz), workers)
    own = held(joint, poles, fitted, workers)
    kept = without_satellites([p for p in own.poles if p.frequency_hz >= settings.fit.lowest_hz])
    parts = [_part_of(fitted, p.frequency_hz) for p in kept]
    shared = tuple(_shared(p, joint, t.spectra, t.scale) for p, t in zip(kept, parts, strict=True))
    return Together(shared, scatter=own.told, scatter_reason=own.reason)


def _part_of(fitted: dict[Band, WeighedBand], frequency_hz: float) -> WeighedBand:
    """The spectra of the band that owns it, else of the highest."""
    return next((part for band, part in fitted.items() if band.owns(frequency_hz)), list(fitted.values())[-1])


def _near(band: Band, modes: ModeArrays | None, starts: Start) -> ModeArrays | FloatArray:
    """What is known around a band."""
    low, high = band.low_hz - MARGINS * band.width_hz, band.high_hz + MARGINS * band.width_hz
    if modes is not None:
        return modes.where(modes.between(low, high))
    return starts.decay_rate_per_s[(starts.frequency_hz > low) & (starts.frequency_hz < high)]


def _unexplained(fit: _Fitted) -> float:
    """Share of the energy over the noise, below TOLD_BELOW_HZ, that neither the modes nor a smooth background hold; middle of the bands."""
    modes, shares = ModeArrays.of(fit.poles), []
    for band, part in fit.parts.items() if fit.poles else ():
        kept = part.spectra
        bins, values = kept.bins(band.low_hz, band.high_hz)
        if band.low_hz >= TOLD_BELOW_HZ or len(bins) < LEAST_SERIES:
            continue
        heard = modes.spectra(bins, kept.length, kept.rate) + modes.images(bins, kept.length, kept.rate)
        rest = values - heard * part.scale
        smooth, _ = np.linalg.qr(smooth_terms(bins, BACKGROUND_TERMS))
        rest -= smooth @ (smooth.conj().T @ rest)
        noise = kept.length * (len(bins) - BACKGROUND_TERMS) * values.shape[1]
        left = np.sum(np.abs(rest) ** 2) - noise
        shares.append(max(left, 0.0) / np.sum(np.abs(values) ** 2))
    return float(np.median(shares)) if shares else 0.0


def _struck_apart(joint: JointSpectra, band: Band) -> bool:
    rung = joint.rungs[0]
    bins, values = rung.bins(band.low_hz, band.high_hz)
    if len(bins) < LEAST_SERIES:
        return False
    return patterned(values * joint.scale(band, bins, values, rung) / np.sqrt(rung.length))


def _by_pattern(joint: JointSpectra, bands: Sequence[Band], workers: Workers) -> list[RoomBand]:
    """Each band's modes told by their patterns over the strikes, from a record no longer than that needs."""
    rung = next((r for r in reversed(joint.rungs) if r.duration_s >= LEAST_S), joint.rungs[0])
    return [one for one in workers.map(_room_band, _room_work(joint, bands, rung)) if one is not None]


def _room_work(joint: JointSpectra, bands: Sequence[Band], rung: KeptSpectra) -> Iterator[_RoomWork]:
    bare = KeptSpectra(rung.full[:, :0], rung.length, rung.rate)
    for band in narrowed(bands, len(joint.owner)):
        reach = max(MARGIN * band.width_hz, LEAST_MARGIN_HZ)
        bins, values = rung.bins(band.low_hz - reach, band.high_hz + reach)
        if len(bins) >= LEAST_SERIES:
            scale = joint.scale(band, bins, values, rung)
            yield _RoomWork(band, bins, values * scale, scale, bare)


class _RoomWork(NamedTuple):
    """One band's part, as room_band takes it; bands do not wait for each other."""

    band: Band
    bins: FloatArray
    values: ComplexArray
    scale: FloatArray
    spectra: KeptSpectra


def _room_band(work: _RoomWork) -> RoomBand | None:
    return room_band(*work)


def _of_room(
    bands: Sequence[RoomBand], joint: JointSpectra, settings: Settings, clear: float
) -> tuple[SharedMode, ...]:
    """Modes that a room goes on driving."""
    told = [(b, p) for b, p in room_poles(bands, clear) if p.frequency_hz >= settings.fit.lowest_hz]
    return tuple(_shared(p, joint, b.spectra, b.scale) for b, p in told)


class _Round(NamedTuple):
    """What a round of the fit begins with."""

    starts: Start
    clear: float
    stations: int
    looks: int  # 0: the round only measures the warming


class _BandWork(NamedTuple):
    """One band's part of a round; bands do not wait for each other."""

    clean: KeptSpectra  # noise of mean square 1, without what lies outside the band
    scale: FloatArray  # (S,) what the spectra were multiplied by
    band: Band
    round: _Round


def _band_work(
    joint: JointSpectra, bands: Sequence[Band], modes: ModeArrays | None, task: _Round, fitted: dict[Band, WeighedBand]
) -> Iterator[_BandWork]:
    """The highest band first: it holds the most modes, and what takes long is to be begun early. `fitted` gets each band as it is weighed."""
    for band in reversed(bands):
        fitted[band] = weighed(joint, band, _near(band, modes, task.starts))
        yield _BandWork(_clean(fitted[band], band, modes), fitted[band].scale, band, task)


def _band_poles(work: _BandWork) -> list[Pole]:
    """The band's poles."""
    band, (starts, clear, stations, looks) = work.band, work.round
    steps = FINAL_STEPS if looks else ROUGH_STEPS
    fit = fit_window(work.clean, band, starts, 1.0, clear, looks, stations, steps)
    found = owned(fit, band) if fit is not None else []
    return [replace(p, amplitudes=tuple((np.array(p.amplitudes) / work.scale).tolist())) for p in found]


def _clean(part: WeighedBand, band: Band, modes: ModeArrays | None) -> KeptSpectra:
    """The tails of all modes outside the band are taken away: no polynomial stands for strong ones."""
    kept = part.spectra
    low, high = listens(band)
    bins, values = kept.bins(low, high)
    if modes is not None:
        outside = modes.where(~((modes.frequency_hz > low) & (modes.frequency_hz < high)))
        taken = outside.spectra(bins, kept.length, kept.rate) + modes.images(bins, kept.length, kept.rate)
        values = values - taken * part.scale
    return kept.holding(bins, values)


class _StartWork(NamedTuple):
    """One band of all strikes."""

    rungs: tuple[KeptSpectra, ...]
    band: Band
    owner: np.ndarray  # (S,)
    noise: FloatArray  # (S,)


def _start_work(joint: JointSpectra, bands: Sequence[Band]) -> Iterator[_StartWork]:
    for band in bands:
        yield _StartWork(tuple(r.near(band) for r in joint.rungs), band, joint.owner, joint.noise(band))


def _band_starts(work: _StartWork) -> Start:
    """From the subspace of all strikes of all stations, each as loud as its noise (or the model) allows."""
    rungs, band, owner, noise = work
    spectra = Ladder(rungs).for_band(band)
    series, rate, centre = spectra.baseband(band)
    subspace = Covariance(MOST_IN_BAND)
    if series.shape[1] < LEAST_SERIES:
        return Start(np.empty(0), np.empty(0))
    energy = np.mean(np.abs(series) ** 2, axis=1) * spectra.rate / rate
    energy = (np.bincount(owner, energy) / np.bincount(owner))[owner]
    floor = np.maximum(noise, MODEL_ERROR * energy) * rate / spectra.rate
    subspace.add(series / np.sqrt(floor + 1e-300)[:, None])
    return starts_of(subspace.poles(1.0), band, rate, centre, spectra.duration_s)


def _shared(pole: Pole, joint: JointSpectra, spectra: Spectra, scale: FloatArray) -> SharedMode:
    seen = 1 - np.exp(-2 * pole.decay_rate_per_s * spectra.duration_s)
    amplitudes = np.array(pole.amplitudes)
    energy = np.abs(amplitudes * scale) ** 2 * spectra.rate / (4 * pole.decay_rate_per_s) * seen
    turn = pole.decay_rate_per_s - 2j * np.pi * pole.frequency_hz
    onset = (amplitudes * np.exp(turn * np.array([s.free_s for s in joint.sounds]))[joint.owner]).tolist()
    clear = np.bincount(joint.owner, energy) / np.bincount(joint.owner)
    four = pole.frequency_hz, pole.frequency_sd_hz, pole.decay_rate_per_s, pole.decay_rate_sd_per_s
    at, first = {}, 0
    for sound, level in zip(joint.sounds, clear.tolist(), strict=True):
        last = first + len(sound.strikes)
        snr_db = 10 * math.log10(level + 1e-30)
        at[sound.station] = Pole(*four, tuple(onset[first:last]), snr_db, pole.widened)
        first = last
    return SharedMode(*four, at, pole.widened)
