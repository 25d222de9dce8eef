"""Places one by one: their strikes cut out of the recordings here, listened to by whoever is free.

analyse_places(heard, plan, wanted, workers, unreadable)   StationResult of each place, in the plan's order
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from tapscan.errors import UnreadableRecording
from tapscan.records import Force, Segment
from tapscan.settings import Settings
from tapscan.signal.plate.station_analysis import PlaceTaps, StationResult, Wanted, analysed, place_taps
from tapscan.workers import Workers
from tapscan.workflow.listen import Heard, cut


@dataclass(frozen=True)
class Planned:
    """One strike with its place in the scan."""

    file: int
    span: int
    station: str
    force: Force | None
    name: str


def analyse_places(
    heard: Sequence[Heard], plan: Sequence[Planned], wanted: Wanted, workers: Workers, unreadable: list[str]
) -> list[StationResult]:
    """`unreadable` : gets what has gone bad since it was listened to."""
    order = list(dict.fromkeys(p.station for p in plan))

    def places() -> Iterator[PlaceTaps]:
        for station in order:
            mine = [p for p in plan if p.station == station]
            yield place_taps(station, _segments(heard, mine, wanted.settings, unreadable), wanted)

    def told(done: int) -> None:
        workers.progress("listening", done, len(order))

    told(0)
    return workers.map(analysed, places(), told)


def _segments(
    heard: Sequence[Heard], mine: Sequence[Planned], settings: Settings, unreadable: list[str]
) -> Iterable[Segment]:
    """The strikes one by one; a file that has gone bad since it was listened to is said and left out."""
    for p in mine:
        try:
            yield cut(heard[p.file], p.span, settings, name=p.name, station=p.station, force=p.force)
        except UnreadableRecording as problem:
            if str(problem) not in unreadable:
                unreadable.append(str(problem))
