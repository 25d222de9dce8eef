"""Places one by one: their strikes cut out of the recordings and listened to by whoever is free.

analyse_places(heard, plan, wanted, workers, ...)   StationResult of each place, in the plan's order
spot_of(heard, strike)                              what a strike is, whatever it is called in a scan
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import NamedTuple

from msgspec import Struct
from msgspec.structs import replace

from tapscan.errors import UnreadableRecording
from tapscan.records import Force, Segment, Strike
from tapscan.signal.plate.station_analysis import PlaceTaps, StationResult, Wanted, analysed, best_of, place_taps
from tapscan.workers import Workers
from tapscan.workflow.cutting import cut
from tapscan.workflow.listen import Heard

MANY = 24  # strikes of one place that one process cuts out; of more, each takes so many at a time


class Planned(Struct, frozen=True):
    """One strike with its place in the scan."""

    file: int
    span: int
    station: str
    force: Force | None
    name: str


Spot = tuple[str, int, Force | None]
Before = Callable[[str, Sequence[Spot], Wanted], StationResult | None]


def spot_of(heard: Sequence[Heard], strike: Planned) -> Spot:
    """SHA-256 of its recording, its number there, and its force as declared."""
    return heard[strike.file].recording.sha256, strike.span, strike.force


def nothing_before(station: str, taps: Sequence[Spot], wanted: Wanted) -> StationResult | None:
    """No place was listened to before."""
    return None


def analyse_places(
    heard: Sequence[Heard],
    plan: Sequence[Planned],
    wanted: Wanted,
    workers: Workers,
    unreadable: list[str],
    before: Before = nothing_before,
) -> list[StationResult]:
    """`unreadable` : gets what has gone bad since it was listened to. `before` : what was found of a place already."""
    by_place: dict[str, list[Planned]] = {}
    for p in plan:
        by_place.setdefault(p.station, []).append(p)
    done: dict[str, StationResult] = {}
    for station, mine in by_place.items():
        if known := before(station, [spot_of(heard, p) for p in mine], wanted):
            done[station] = _called(known, heard, mine)

    def places() -> Iterator[_Place | PlaceTaps]:
        for station, mine in by_place.items():
            if station not in done:
                place = _Place(station, tuple((heard[p.file], p) for p in mine), wanted)
                spooled = any(h.source.spooled for h, _ in place.strikes)  # no other process can reach it
                if len(mine) > MANY and not spooled:
                    yield _cut_by_several(place, workers, unreadable)
                else:
                    yield _cut_out(place, unreadable) if spooled else place

    def told(count: int) -> None:
        workers.progress("listening", len(done) + count, len(by_place))

    told(0)
    for result, bad in workers.map(_analysed, places(), told):
        done[result.station] = result
        unreadable += [b for b in bad if b not in unreadable]
    return [done[station] for station in by_place]


class _Place(NamedTuple):
    """A place's strikes in their recordings, still to be cut out."""

    station: str
    strikes: tuple[tuple[Heard, Planned], ...]
    wanted: Wanted


def _analysed(place: _Place | PlaceTaps) -> tuple[StationResult, list[str]]:
    """And what has gone bad."""
    unreadable: list[str] = []
    return analysed(_cut_out(place, unreadable) if isinstance(place, _Place) else place), unreadable


def _cut_out(place: _Place, unreadable: list[str]) -> PlaceTaps:
    return place_taps(place.station, _segments(place, unreadable), place.wanted)


def _cut_by_several(place: _Place, workers: Workers, unreadable: list[str]) -> PlaceTaps:
    """Hours of one place: all strikes are measured by whoever is free, and the best cut out once more."""
    parts = [place._replace(strikes=place.strikes[k : k + MANY]) for k in range(0, len(place.strikes), MANY)]
    measured = workers.map(_measured, parts)
    strikes = [s for some, _ in measured for s in some]
    unreadable += [b for _, bad in measured for b in bad if b not in unreadable]
    best = {s.id for s in best_of(strikes, round(place.wanted.settings.strikes.per_station))}
    chosen = place._replace(strikes=tuple((h, p) for h, p in place.strikes if p.name in best))
    return replace(_cut_out(chosen, unreadable), strikes=tuple(strikes))


def _measured(place: _Place) -> tuple[list[Strike], list[str]]:
    """Its strikes without their sound, and what has gone bad."""
    unreadable: list[str] = []
    return [segment.strike for segment in _segments(place, unreadable)], unreadable


def _called(known: StationResult, heard: Sequence[Heard], mine: Sequence[Planned]) -> StationResult:
    """With the names that strikes and recordings have in this scan."""
    names = {old.id: p.name for old, p in zip(known.strikes, mine, strict=True)}
    strikes = tuple(
        replace(old, id=p.name, recording=heard[p.file].recording.id)
        for old, p in zip(known.strikes, mine, strict=True)
    )
    sound = replace(known.sound, named=tuple(names[n] for n in known.sound.named)) if known.sound else None
    pictures = tuple(replace(p, strike=names[p.strike]) for p in known.pictures)
    return replace(known, strikes=strikes, sound=sound, pictures=pictures)


def _segments(place: _Place, unreadable: list[str]) -> Iterable[Segment]:
    """The strikes one by one; a file that has gone bad since it was listened to is said and left out."""
    for heard, p in place.strikes:
        try:
            yield cut(heard, p.span, place.wanted.settings, name=p.name, station=p.station, force=p.force)
        except UnreadableRecording as problem:
            if str(problem) not in unreadable:
                unreadable.append(str(problem))
