"""One station: its segments in, its strikes, poles, tones and picture out.

place_taps(station, segments, settings)        PlaceTaps: what is listened to, cut out and ready for any process
best_of(strikes, most)                         which of a place's strikes it holds
analysed(place)                                StationResult
analyse_station(station, segments, settings)   both
mark_cut_short(strike, results, settings)      the strike with its `cut short` fault where it applies
"""

from collections.abc import Iterable, Sequence
from heapq import heappush, heappushpop

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from tapscan.records import Pole, Segment, StationPicture, Strike
from tapscan.settings import Settings
from tapscan.settings.fit import Fit
from tapscan.signal.fit.noise import NoiseDensity
from tapscan.signal.observe.pictures import picture_of
from tapscan.signal.plate.joint_spectra import HIGHEST_HZ, StationSound
from tapscan.signal.plate.merging import HeardPole, overlaps
from tapscan.signal.plate.room_limit import hidden_above, late_slopes
from tapscan.signal.plate.station_fit import SKIP_S, station_poles
from tapscan.signal.plate.tones import station_tones

WORTH_DB = 30.0  # a mode this far under the station's clearest does not make a tap "cut short"
FULL_LENGTH = 0.6  # strikes shorter than this share of the median are left out of the joint fit


class StationResult(Struct, frozen=True, eq=False):
    """What one station gave."""

    station: str
    strikes: tuple[Strike, ...]
    heard: tuple[HeardPole, ...]
    pictures: tuple[StationPicture, ...]
    sound: StationSound | None = None  # for the fit of all stations together


class Wanted(Struct, frozen=True):
    """How a place is listened to.

    pictures : what its pictures are drawn from is kept.
    rough : nothing is wanted below HIGHEST_HZ; the fit of all stations together looks there.
    contact : known to be a pickup on the iron, which hears no room.
    """

    settings: Settings
    pictures: bool = False
    rough: bool = False
    contact: bool = False


class PlaceTaps(Struct, frozen=True, eq=False):
    """One place's strikes, and the sound of the best of them."""

    station: str
    strikes: tuple[Strike, ...]
    chosen: tuple[Segment, ...]
    wanted: Wanted


def analyse_station(
    station: str,
    segments: Iterable[Segment],
    settings: Settings,
    *,
    pictures: bool = False,
    rough: bool = False,
    contact: bool = False,
) -> StationResult:
    """For the last three see Wanted."""
    return analysed(place_taps(station, segments, Wanted(settings, pictures, rough, contact)))


def place_taps(station: str, segments: Iterable[Segment], wanted: Wanted) -> PlaceTaps:
    """Segments may be a generator: only the best few are held at a time."""
    strikes: list[Strike] = []
    best: list[tuple[float, int, Segment]] = []
    for number, segment in enumerate(segments):
        strikes.append(segment.strike)
        if not segment.strike.usable:
            continue
        entry = (_merit(segment.strike), -number, segment)
        if len(best) < wanted.settings.strikes.per_station:
            heappush(best, entry)
        else:
            heappushpop(best, entry)
    chosen = _alike([entry[2] for entry in sorted(best, key=lambda e: -e[1])])
    return PlaceTaps(station, tuple(strikes), tuple(chosen), wanted)


def analysed(place: PlaceTaps) -> StationResult:
    """Depends on `place` alone."""
    wanted, chosen = place.wanted, place.chosen
    if not chosen:
        return StationResult(place.station, place.strikes, (), ())
    sound = _sound_of(place.station, chosen, wanted.settings, HIGHEST_HZ if wanted.rough else None, wanted.contact)
    heard = hear(sound, sound.poles, wanted.settings)
    drawn = (picture_of(max(chosen, key=lambda s: _merit(s.strike))),) if wanted.pictures else ()
    return StationResult(place.station, place.strikes, tuple(heard), drawn, sound)


def best_of(strikes: Sequence[Strike], most: int) -> list[Strike]:
    """Those that `place_taps` would choose from."""
    usable = [s for s in strikes if s.usable]
    return sorted(usable, key=_merit, reverse=True)[:most]  # of equals the earlier


def _merit(s: Strike) -> float:
    return s.snr_db if s.snr_db is not None else 40.0 + 0.1 * s.level_db


def _alike(segments: list[Segment]) -> list[Segment]:
    """Clean blows before double ones, same rate as most, long enough not to shorten the fit of the others."""
    if not segments:
        return []
    single = [s for s in segments if not s.free_s]
    segments = single or segments
    rates = [s.sample_rate_hz for s in segments]
    rate = max(set(rates), key=rates.count)
    same = [s for s in segments if s.sample_rate_hz == rate]
    middle = float(np.median([len(s.samples) for s in same]))
    return [s for s in same if len(s.samples) >= FULL_LENGTH * middle and len(s.samples) > 0.05 * rate]


def _sound_of(
    station: str, chosen: Sequence[Segment], settings: Settings, lowest_hz: float | None, contact: bool
) -> StationSound:
    rate, free_s = chosen[0].sample_rate_hz, max(SKIP_S, *(s.free_s for s in chosen))
    samples = [s.samples for s in chosen]
    noises = [s.noise for s in chosen if s.noise.size]
    slopes = () if contact else tuple(late_slopes(samples, noises, rate))
    hidden = hidden_above(slopes) if lowest_hz else None  # one place alone does not tell a room from a drum
    heard = settings.but(Fit, highest_hz=min(settings.fit.highest_hz, hidden.above_hz)) if hidden else settings
    poles = station_poles(samples, noises, rate, heard, free_s, lowest_hz)
    length = min(len(s) for s in samples)
    levels = tuple(s.strike.level_db for s in chosen)
    kept = np.stack([s[:length] for s in samples]).astype(np.float32)
    named, forces = tuple(s.strike.id for s in chosen), tuple(s.strike.force for s in chosen)
    return StationSound(
        station, kept, NoiseDensity(noises, rate), tuple(poles), rate, free_s, levels, named, forces, slopes, contact
    )


def hear(sound: StationSound, poles: Sequence[Pole], settings: Settings) -> list[HeardPole]:
    """The station's view of `poles`, which carry its amplitudes at the onset."""
    if not poles:
        return []
    rate, samples = sound.sample_rate_hz, [s.astype(float) for s in sound.strikes]
    tones = station_tones(poles, samples, sound.noise.at, rate, settings)
    crowding = overlaps(poles)
    rms = 10 ** (np.array(sound.level_db) / 20)
    seen = sound.strikes.shape[1] / rate
    size = np.abs(np.array([p.amplitudes for p in poles]))
    fallen = np.exp(-np.array([p.decay_rate_per_s for p in poles]) * settings.tones.window_start_s)
    amplitude_db = 20 * np.log10(np.median(size / rms, axis=1) + 1e-15)
    level_db = 20 * np.log10(np.median(size, axis=1) * fallen + 1e-15)
    views = zip(poles, tones, amplitude_db.tolist(), level_db.tolist(), crowding.tolist(), strict=True)
    return [HeardPole(sound.station, p, t, amplitude, level, o, seen) for p, t, amplitude, level, o in views]


def mark_cut_short(strike: Strike, results: Sequence[StationResult], settings: Settings) -> Strike:
    """A strike is cut short when a mode above 100 Hz is seen for less than two of its time constants."""
    mine = [h for r in results if r.station == strike.station for h in r.heard]
    if not mine:
        short = strike.duration_s < settings.strikes.shortest_s
    else:
        top = max(h.pole.snr_db for h in mine)
        worth = [h.pole for h in mine if h.pole.snr_db > top - WORTH_DB and h.pole.frequency_hz > 100]
        short = any(strike.duration_s * p.decay_rate_per_s < settings.fit.time_constants for p in worth)
    return replace(strike, faults=(*strike.faults, "cut short")) if short else strike
