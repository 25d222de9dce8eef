"""One more fit, of all stations at once: what one station hides another shows.

    together(sounds, settings)                Together: the modes, and the room where one rings along

At one station the strikes differ in little but their force, so two modes that overlap look like one, and each
station errs its own way. Between stations a mode's strength changes freely: modes a fraction of their
linewidth apart are told by it, and a pole that only mends the shape of a stronger one, with that one's pattern over the
stations, is no mode (a room, or damping that changes with amplitude, makes such poles).

The plate may warm while it is tapped. Each station's common shift is measured in every round of the fit,
and taken out of its spectra before the next; a fit that forgets this splits every mode.

Where a room rings along, these modes leave much of the sound unexplained, or the end of the ring falls as a room does (room_limit.py): then they are told
by their patterns alone (room_fit.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tapscan.records import ComplexArray, FloatArray, Pole, RoomRing
from tapscan.settings import Settings
from tapscan.signal.fit.bandfit import Start, fit_band
from tapscan.signal.fit.polefit import BACKGROUND_TERMS, mode_spectra, smooth_terms
from tapscan.signal.fit.polish import images, tails
from tapscan.signal.fit.spurious import without_satellites
from tapscan.signal.fit.subbands import Band, Spectra, plan_bands
from tapscan.signal.fit.subspace import Covariance
from tapscan.signal.plate.columns import (
    HIGHEST_HZ,
    MODEL_ERROR,
    Columns,
    KeptSpectra,
    StationSound,
    alike,
    gathered,
    noise_scale,
    weighed,
)
from tapscan.signal.plate.room_fit import (
    LEAST_MARGIN_HZ,
    LEAST_S,
    LEAST_STATIONS,
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
from tapscan.signal.plate.station_fit import LEAST_SERIES, Ladder, joined, starts_of, without_doubles

LOOKS = (0, 0, 0, 8, 8)  # in each round; the first ones only measure the warming, and none more than it takes
LOWEST_HZ = 12.0
STILL = 5e-6
MOST_IN_BAND = 40
DRY, FEW = "no room was heard", f"needs {LEAST_STATIONS} places or more with taps alike in rate and length"


@dataclass(frozen=True, eq=False)
class SharedMode:
    """A mode of the plate, and how each station that took part shows it."""

    frequency_hz: float
    frequency_sd_hz: float
    decay_rate_per_s: float
    decay_rate_sd_per_s: float
    at: dict[str, Pole]  # by station: the same pole with that station's amplitudes at the onset and its own snr_db


@dataclass(frozen=True, eq=False)
class Together:
    """What all stations tell together."""

    modes: tuple[SharedMode, ...] = ()
    room: RoomRing | None = None
    room_reason: str | None = FEW  # why there is none


def together(sounds: Sequence[StationSound], settings: Settings) -> Together:
    """Modes below 2.5 kHz from all stations together, and the room's ring where it is in the sound.

    Sounds of another rate, or much shorter than most, take no part. Empty where fewer than two stations are left.
    """
    sounds = alike(sounds)
    if len(sounds) < 2:
        return Together()
    joint = gathered(sounds)
    bands = [b for b in plan_bands(settings.fit.lowest_hz, settings.fit.highest_hz) if b.low_hz < HIGHEST_HZ]
    columns = len(joint.owner)
    clear = (10 ** (settings.fit.mode_snr_db / 10) + columns + 4 * np.sqrt(columns)) / columns
    free, unexplained = _of_free_modes(joint, sounds, bands, settings, clear)
    if len(sounds) < LEAST_STATIONS:
        return Together(free)
    if unexplained < ROOM_SHARE and limit_of([s.late for s in sounds]) is None:
        return Together(free, room_reason=DRY)
    told = _in_room(joint, sounds, bands, settings)
    if isinstance(told, str):
        return Together(free, room_reason=told)
    return Together(_of_room(told, sounds, joint, settings, clear), room_ring(told, unexplained), None)


def _in_room(
    joint: Columns, sounds: Sequence[StationSound], bands: Sequence[Band], settings: Settings
) -> list[RoomBand] | str:
    """The bands as a room drives their modes; or why that cannot be told."""
    if joint.rungs[0].duration_s < LEAST_S:
        return f"the rings are shorter than {LEAST_S:.0f} s"
    try:
        if not _struck_apart(joint, sounds, Band(settings.fit.lowest_hz, TOLD_BELOW_HZ)):
            return "the places were struck too much alike, or hardly louder than the noise"
        return _by_pattern(joint, sounds, bands) or "nothing rings"
    except np.linalg.LinAlgError as problem:
        return f"the sums have no solution ({problem})"


def _of_free_modes(
    joint: Columns, sounds: Sequence[StationSound], bands: Sequence[Band], settings: Settings, clear: float
) -> tuple[tuple[SharedMode, ...], float]:
    """Modes that nothing drives after the blow, and the share of the sound that they leave unexplained."""
    bands = [
        Band(LOWEST_HZ, settings.fit.lowest_hz),
        *bands,
    ]  # what rings below is not reported, but its tails are heard
    starts = _starts(sounds, bands)
    poles: list[Pole] = []
    still = False
    for looks in LOOKS:
        if still and not looks:
            continue
        fitted = {b: weighed(joint, sounds, b, starts) for b in bands}
        poles = without_doubles([_band_poles(fitted[b], b, starts, poles, clear, len(sounds), looks) for b in bands])
        if not poles:
            return (), 0.0
        starts = Start(np.array([p.frequency_hz for p in poles]), np.array([p.decay_rate_per_s for p in poles]))
        drift = _better_drift(joint, fitted, poles)
        still = float(np.abs(drift - joint.drift).max()) < STILL
        joint = replace(joint, drift=drift)
    kept = without_satellites([p for p in poles if p.frequency_hz >= settings.fit.lowest_hz])
    found = []
    for pole in kept:
        spectra, scale = next((fitted[b] for b in bands if b.owns(pole.frequency_hz)), fitted[bands[-1]])
        found.append(_shared(pole, sounds, joint.owner, spectra, scale))
    return tuple(found), _unexplained(fitted, poles)


def _unexplained(fitted: dict[Band, tuple[KeptSpectra, FloatArray]], poles: Sequence[Pole]) -> float:
    """Share of the energy over the noise, below TOLD_BELOW_HZ, that neither the poles nor a smooth background hold; middle of the bands."""
    shares = []
    for band, (kept, scale) in fitted.items():
        bins, values = kept.bins(band.low_hz, band.high_hz)
        if band.low_hz >= TOLD_BELOW_HZ or len(bins) < LEAST_SERIES:
            continue
        every = [_scaled(p, scale) for p in poles]
        rest = values - tails(bins, every, kept) - images(bins, every, kept)
        smooth, _ = np.linalg.qr(smooth_terms(bins, BACKGROUND_TERMS))
        rest -= smooth @ (smooth.conj().T @ rest)
        noise = kept.length * (len(bins) - BACKGROUND_TERMS) * values.shape[1]
        left = np.sum(np.abs(rest) ** 2) - noise
        shares.append(max(left, 0.0) / np.sum(np.abs(values) ** 2))
    return float(np.median(shares)) if shares else 0.0


def _struck_apart(joint: Columns, sounds: Sequence[StationSound], band: Band) -> bool:
    rung = joint.rungs[0]
    bins, values = rung.bins(band.low_hz, band.high_hz)
    if len(bins) < LEAST_SERIES:
        return False
    return patterned(values * noise_scale(joint, sounds, band, bins, values, rung) / np.sqrt(rung.length))


def _by_pattern(joint: Columns, sounds: Sequence[StationSound], bands: Sequence[Band]) -> list[RoomBand]:
    """Each band's modes told by their patterns over the strikes, from a record no longer than that needs."""
    rung = next((r for r in reversed(joint.rungs) if r.duration_s >= LEAST_S), joint.rungs[0])
    found = []
    for band in narrowed(bands, len(joint.owner)):
        reach = max(MARGIN * band.width_hz, LEAST_MARGIN_HZ)
        bins, values = rung.bins(band.low_hz - reach, band.high_hz + reach)
        if len(bins) < LEAST_SERIES:
            continue
        scale = noise_scale(joint, sounds, band, bins, values, rung)
        one = room_band(band, bins, values * scale, scale, rung)
        found += [one] if one else []
    return found


def _of_room(
    bands: Sequence[RoomBand], sounds: Sequence[StationSound], joint: Columns, settings: Settings, clear: float
) -> tuple[SharedMode, ...]:
    """Modes that a room goes on driving."""
    told = [(b, p) for b, p in room_poles(bands, clear) if p.frequency_hz >= settings.fit.lowest_hz]
    return tuple(_shared(p, sounds, joint.owner, b.spectra, b.scale) for b, p in told)


def _band_poles(
    fitted: tuple[KeptSpectra, FloatArray],
    band: Band,
    starts: Start,
    poles: Sequence[Pole],
    clear: float,
    stations: int,
    looks: int,
) -> list[Pole]:
    """The band's poles, with the tails of all `poles` outside taken away first: no polynomial stands for strong ones."""
    kept, scale = fitted
    low, high = band.low_hz - band.margin_hz, band.high_hz + band.margin_hz
    bins, values = kept.bins(low, high)
    outside = [_scaled(p, scale) for p in poles if not low < p.frequency_hz < high]
    every = [_scaled(p, scale) for p in poles]
    clean = KeptSpectra(
        (values - tails(bins, outside, kept) - images(bins, every, kept)).T,
        kept.length,
        kept.rate,
        round(bins[0] * kept.length / kept.rate),
    )
    return [_scaled(p, 1 / scale) for p in fit_band(clean, band, starts, 1.0, clear, looks, stations)]


def _better_drift(
    joint: Columns, fitted: dict[Band, tuple[KeptSpectra, FloatArray]], poles: Sequence[Pole]
) -> FloatArray:
    """(S,) each station's shift, mended by regression of the residual on the change that a shift makes."""
    stations = int(joint.owner.max()) + 1
    up, down = np.zeros(stations), np.full(stations, 1e-30)
    for band, (kept, scale) in fitted.items():
        inside = [_scaled(p, scale) for p in poles if band.low_hz <= p.frequency_hz < band.high_hz]
        if not inside:
            continue
        bins, values = kept.bins(band.low_hz, band.high_hz)
        others = [_scaled(p, scale) for p in poles if not band.low_hz <= p.frequency_hz < band.high_hz]
        rest = values - tails(bins, [*inside, *others], kept)
        model, change = _by_shift(bins, inside, kept)
        taken, _ = np.linalg.qr(
            np.hstack([model, smooth_terms(bins, BACKGROUND_TERMS)])
        )  # what free amplitudes would take up
        rest, change = (x - taken @ (taken.conj().T @ x) for x in (rest, change))
        doubt = np.mean(np.abs(rest) ** 2)
        up += np.bincount(joint.owner, np.sum(change.conj() * rest, axis=0).real / doubt, stations)
        down += np.bincount(joint.owner, np.sum(np.abs(change) ** 2, axis=0) / doubt, stations)
    total = np.array([joint.drift[joint.owner == i][0] for i in range(stations)]) + up / down
    return np.asarray((total - np.median(total))[joint.owner])


def _by_shift(bins: FloatArray, poles: Sequence[Pole], kept: KeptSpectra) -> tuple[ComplexArray, ComplexArray]:
    """Spectra of the modes (K, M), and how the columns (K, S) change with a relative shift of all frequencies."""
    f, d = np.array([p.frequency_hz for p in poles]), np.array([p.decay_rate_per_s for p in poles])
    model, slope = mode_spectra(bins, f, d, kept.length, kept.rate)
    return model, slope @ (2j * np.pi / kept.rate * f[:, None] * np.array([p.amplitudes for p in poles]))


def _scaled(pole: Pole, scale: FloatArray) -> Pole:
    return replace(pole, amplitudes=tuple((np.array(pole.amplitudes) * scale).tolist()))


def _starts(sounds: Sequence[StationSound], bands: Sequence[Band]) -> Start:
    """Start values from the subspace of all strikes of all stations, each as loud as its noise (or the model) allows."""
    subspaces = {b: Covariance(MOST_IN_BAND) for b in bands}
    places: dict[Band, tuple[float, float, float]] = {}
    for sound in sounds:
        ladder = Ladder(Spectra(sound.ring.astype(float), sound.sample_rate_hz))
        for band in bands:
            spectra = ladder.for_band(band)
            series, rate, centre = spectra.baseband(band)
            if series.shape[1] < LEAST_SERIES:
                continue
            energy = float(np.mean(np.abs(series) ** 2)) * spectra.rate / rate
            floor = max(sound.noise.at(band.low_hz, band.high_hz), MODEL_ERROR * energy) * rate / spectra.rate
            subspaces[band].add(series / np.sqrt(floor + 1e-300))
            places.setdefault(band, (rate, centre, spectra.duration_s))
    return joined([starts_of(subspaces[b].poles(1.0), b, *places[b]) for b in bands if b in places])


def _shared(
    pole: Pole, sounds: Sequence[StationSound], owner: np.ndarray, spectra: Spectra, scale: FloatArray
) -> SharedMode:
    seen = 1 - np.exp(-2 * pole.decay_rate_per_s * spectra.duration_s)
    energy = np.abs(np.array(pole.amplitudes) * scale) ** 2 * spectra.rate / (4 * pole.decay_rate_per_s) * seen
    at = {}
    for i, sound in enumerate(sounds):
        columns = owner == i
        back = np.exp((pole.decay_rate_per_s - 2j * np.pi * pole.frequency_hz) * sound.free_s)
        amplitudes = tuple(complex(a * back) for a in np.array(pole.amplitudes)[columns])
        snr_db = float(10 * np.log10(np.mean(energy[columns]) + 1e-30))
        at[sound.station] = replace(pole, amplitudes=amplitudes, snr_db=snr_db)
    sds = pole.frequency_sd_hz, pole.decay_rate_sd_per_s
    return SharedMode(pole.frequency_hz, sds[0], pole.decay_rate_per_s, sds[1], at)
