"""All stations' results in, the modes of the plate out.

modes_of_plate(results, settings)   the list of Mode: below 2.5 kHz from all stations together, above from what each gave alone
measured_scan(results, settings, ...)   a Scan of strikes, modes and what is told beside them; where tones come from is not told yet
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from msgspec.structs import replace

from tapscan.records import Mode, Pole, RoomLimit, Scan
from tapscan.settings import Settings
from tapscan.signal.fit.subbands import plan_bands
from tapscan.signal.observe.observations import BesideModes, steady_at_places
from tapscan.signal.plate.explained import explained_share
from tapscan.signal.plate.joint_fit import SharedMode, Together, together
from tapscan.signal.plate.joint_spectra import HIGHEST_HZ, StationSound
from tapscan.signal.plate.merging import HeardPole, Joined, clusters_of, modes_of, pole_of
from tapscan.signal.plate.ringdown import Ring, ring_down, with_ring_down
from tapscan.signal.plate.room_limit import limit_of
from tapscan.signal.plate.self_scatter import held_alone
from tapscan.signal.plate.signs import with_signs
from tapscan.signal.plate.station_analysis import StationResult, hear
from tapscan.workers import ALONE, Workers

ABOVE = 1.1  # of the highest mode: so far above it the sound is looked at
SURE_DB = 6.0  # over the clear level: a mode that one place alone hears is sure from there on
FAINT_DB = 7.0  # under the clear level a station still tells how strong a mode is there, once others have found it


def modes_of_plate(
    results: Sequence[StationResult], settings: Settings, workers: Workers = ALONE
) -> tuple[list[Mode], Together]:
    """Modes of the plate, in order of frequency, and what the stations told together."""
    heard, told = _heard_together(results, settings, workers)
    views = _Views(told.modes, heard, settings, workers)
    return _modes(heard, told, hidden_by_room(heard, told), views, settings), told


def _heard_together(
    results: Sequence[StationResult], settings: Settings, workers: Workers
) -> tuple[Sequence[StationResult], Together]:
    told = together([r.sound for r in results if r.sound is not None], settings, workers)
    if len(results) == 1 and results[0].sound is not None:
        return _alone(results[0], results[0].sound, told, settings)
    return results, told


def _alone(
    result: StationResult, sound: StationSound, told: Together, settings: Settings
) -> tuple[list[StationResult], Together]:
    """One place, its standard deviations held against its own strikes."""
    own = held_alone(sound, plan_bands(settings.fit.lowest_hz, settings.fit.highest_hz))
    wide = {p.frequency_hz: p for p in own.poles}
    heard = tuple(replace(h, pole=wide[h.pole.frequency_hz]) for h in result.heard)
    mended = replace(result, heard=heard, sound=replace(sound, poles=tuple(own.poles)))
    return [mended], replace(told, scatter=own.told, scatter_reason=own.reason)


def hidden_by_room(results: Sequence[StationResult], told: Together) -> RoomLimit | None:
    """Above what no mode is given. Where modes were told in the room by their patterns, what was told so stays."""
    limit = limit_of([r.sound.late for r in results if r.sound is not None])
    if limit is None or told.room is None:
        return limit
    return replace(limit, hidden_above_hz=max(limit.hidden_above_hz, HIGHEST_HZ))


def measured_scan(results: Sequence[StationResult], settings: Settings, workers: Workers = ALONE, **facts: Any) -> Scan:
    """All that is measured. `facts`: further fields of Scan, such as its recordings and its state; `strikes` as the results have them."""
    sounds = [r.sound for r in results if r.sound is not None]
    heard, told = _heard_together(results, settings, workers)
    shared = told.modes
    took_part = [s for s in sounds if shared and s.station in shared[0].at]
    beside = BesideModes(took_part, shared, settings, workers)
    views = _Views(shared, heard, settings, workers)
    limit = hidden_by_room(heard, told)
    modes = _modes(heard, told, limit, views, settings)
    observed = beside.fields(modes) | (steady_at_places(sounds, modes) if modes and not shared else {})
    strikes = tuple(s for r in results for s in r.strikes)
    room = {
        "room": told.room,
        "room_reason": told.room_reason,
        "room_left_in": told.room_left_in,
        "room_limit": limit,
        "self_scatter": told.scatter,
        "self_scatter_reason": told.scatter_reason,
        "room_limit_reason": None if limit else "the end of the ring falls as iron does, or is not heard long enough",
    }
    return Scan(**{"recordings": (), "strikes": strikes, "modes": tuple(modes), **room, **observed, **facts})


def _modes(
    results: Sequence[StationResult], told: Together, limit: RoomLimit | None, views: _Views, settings: Settings
) -> list[Mode]:
    apart = [Joined(pole_of(c), c) for c in clusters_of([h for r in results for h in r.heard], len(results))]
    sounds = [r.sound for r in results if r.sound is not None]
    if told.modes:
        above = [j for j in apart if j.pole.frequency_hz >= HIGHEST_HZ]
        apart = [*views.below(), *above]
    if limit is not None:
        apart = [j for j in apart if j.pole.frequency_hz < limit.hidden_above_hz]
    if told.room is None:  # else what is left of a mode's energy dies away as the room does
        apart = _by_energy(apart, sounds)
    highest_hz = limit.hidden_above_hz if limit else HIGHEST_HZ
    return modes_of(with_signs(_held_against(apart, sounds, highest_hz, settings)), settings)


def _held_against(
    joined: Sequence[Joined], sounds: Sequence[StationSound], highest_hz: float, settings: Settings
) -> list[Joined]:
    """A mode whose clearest station is hardly explained by its modes says so: talk and music are no modes, however well one fits."""
    poles: dict[str, list[Pole]] = {s.station: [] for s in sounds}
    for heard in (h for one in joined for h in one.heard if h.station in poles):
        poles[heard.station].append(heard.pole)
    lowest_hz, middle_hz = settings.fit.lowest_hz, min(HIGHEST_HZ, highest_hz)
    top_hz = ABOVE * max((one.pole.frequency_hz for one in joined), default=0.0)
    low = {s.station: _explained(poles[s.station], s, (lowest_hz, middle_hz)) for s in sounds}
    any_high = top_hz > ABOVE * HIGHEST_HZ
    high = {s.station: _explained(poles[s.station], s, (HIGHEST_HZ, top_hz)) for s in sounds if any_high}
    out = []
    for one in joined:  # what is heard below says nothing of a tone above: a small bell has nothing there
        share = (high if one.pole.frequency_hz >= HIGHEST_HZ else low).get(one.heard[0].station)
        doubt = share is not None and share < settings.fit.explained_share
        note = (
            f"unsure: all modes together explain {100 * max(share or 0, 0):.0f} % of what is heard there"
            if doubt
            else None
        )
        out.append(Joined(one.pole, one.heard, note or _barely(one, settings) or one.note))
    return out


def _barely(one: Joined, settings: Settings) -> str | None:
    """At one place alone noise now and then looks like a mode, or a strong mode's ring is no single exponential."""
    if len(one.heard) > 1 or one.heard[0].pole.snr_db >= settings.fit.mode_snr_db + SURE_DB:
        return None
    return f"unsure: heard at one place alone, {one.heard[0].pole.snr_db:.0f} dB over the noise"


def _explained(poles: Sequence[Pole], sound: StationSound, between_hz: tuple[float, float]) -> float | None:
    """Of the station's loudest strike."""
    loudest = int(np.argmax(sound.level_db))
    parts = [(p.frequency_hz, p.decay_rate_per_s, p.amplitudes[loudest]) for p in poles]
    ring = sound.strikes[loudest]
    return explained_share(ring, parts, sound.sample_rate_hz, sound.free_s, *between_hz)


def _by_energy(joined: Sequence[Joined], sounds: Sequence[StationSound]) -> list[Joined]:
    """The decays held against the energy decay of the strongest strike where each mode is heard most clearly."""
    by_name = {s.station: s for s in sounds}
    rings: dict[tuple[str, int], Ring] = {}
    every_hz = np.array([j.pole.frequency_hz for j in joined])
    out = []
    for number, one in enumerate(joined):
        best = one.heard[0]
        sound = by_name.get(best.station)
        if sound is None:
            out.append(one)
            continue
        strike = int(np.argmax(np.abs(best.pole.amplitudes)))
        key = best.station, strike
        if key not in rings:
            rings[key] = Ring(sound.ring[strike], sound.sample_rate_hz)
        f, d = one.pole.frequency_hz, one.pole.decay_rate_per_s
        found = ring_down(rings[key], f, d, np.delete(every_hz, number), sound.noise.at(f - d, f + d))
        pole, note = with_ring_down(one.pole, found)
        out.append(Joined(pole, one.heard, note))
    return out


class _View(NamedTuple):
    """What one station is to tell: the poles it hears, of which those of shared modes come first."""

    sound: StationSound
    poles: Sequence[Pole]
    settings: Settings


def _heard_there(view: _View) -> list[HeardPole]:
    return hear(*view)


class _Views:
    """What every station hears of each shared mode; others begin with it at once."""

    def __init__(
        self, shared: Sequence[SharedMode], results: Sequence[StationResult], settings: Settings, workers: Workers
    ) -> None:
        self.shared, self._numbers = shared, list[list[int]]()
        views = []
        for result in results if shared else ():
            if result.sound is None:
                continue
            mine = [i for i, m in enumerate(shared) if _told(m, result.station, settings)]
            high = [h.pole for h in result.heard if h.pole.frequency_hz >= HIGHEST_HZ]
            self._numbers.append(mine)
            views.append(_View(result.sound, [*(shared[i].at[result.station] for i in mine), *high], settings))
        self._heard = workers.begun(_heard_there, views)

    def below(self) -> list[Joined]:
        """Each shared mode that any station hears. Once."""
        found: list[list[HeardPole]] = [[] for _ in self.shared]
        for mine, heard in zip(self._numbers, self._heard, strict=True):
            for i, h in zip(mine, heard, strict=False):  # what is left is `high`, which sounds beside them
                found[i].append(h)
        both = zip(self.shared, found, strict=True)
        return [Joined(_pole(m), sorted(h, key=lambda h: -h.pole.snr_db)) for m, h in both if h]


def _told(mode: SharedMode, station: str, settings: Settings) -> bool:
    """Whether the station tells how strong the mode is there; the one that hears it best always does."""
    if station not in mode.at:
        return False
    snr_db = mode.at[station].snr_db
    return snr_db > settings.fit.mode_snr_db - FAINT_DB or snr_db == max(p.snr_db for p in mode.at.values())


def _pole(mode: SharedMode) -> Pole:
    best = max(p.snr_db for p in mode.at.values())
    sds = mode.frequency_sd_hz, mode.decay_rate_sd_per_s
    return Pole(mode.frequency_hz, sds[0], mode.decay_rate_per_s, sds[1], (), best, mode.widened)
