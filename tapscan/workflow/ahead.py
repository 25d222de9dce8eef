"""Places listened to by another process while the next one is tapped, for the screening that follows.

PlacesAhead(wanted, workers)          nothing yet
    .place(station, strikes)          begin with a place that has all its taps; one that is tapped anew is begun anew
    .listened()                       what was found of each recording so far, by its SHA-256
    .result(station, taps, wanted)    its StationResult, where just these taps were listened to in just this way; else None

What is found ahead is what would be found later, for it depends on the recordings alone. Nothing is lost where it comes too late or not at all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import NamedTuple

from msgspec import Struct

from tapscan.records import Force
from tapscan.signal.plate.station_analysis import StationResult, Wanted
from tapscan.workers import ALONE, Gone, Sent, Workers
from tapscan.workflow.listen import Heard, Listened, listen_all
from tapscan.workflow.places import Planned, Spot, analyse_places, spot_of


class _Take(NamedTuple):
    """Recordings of one place, one strike each, and their forces as declared."""

    station: str
    strikes: tuple[tuple[str, Force | None], ...]
    wanted: Wanted


class _Found(Struct, frozen=True, eq=False):
    listened: tuple[Listened, ...]
    taps: tuple[Spot, ...]
    result: StationResult


class PlacesAhead:
    """See the module."""

    def __init__(self, wanted: Wanted, workers: Workers) -> None:
        self.wanted, self.workers = wanted, workers
        self._begun: dict[str, Sent[_Found | None]] = {}
        self.used = 0  # places whose result was taken

    def place(self, station: str, strikes: Sequence[tuple[Path, Force | None]]) -> None:
        """`strikes` : the recording of each, and its force as declared, in the order taken."""
        take = _Take(station, tuple((str(path), force) for path, force in strikes), self.wanted)
        self._begun.pop(station, None)
        if sent := self.workers.submit(_analysed, take):
            self._begun[station] = sent

    def listened(self) -> Mapping[str, Listened]:
        """Waits for what is being listened to."""
        found = [f for s in self._begun if (f := self._found(s))]
        return {one.recording.sha256: one for f in found for one in f.listened}

    def result(self, station: str, taps: Sequence[Spot], wanted: Wanted) -> StationResult | None:
        """The strikes as they were named ahead."""
        found = self._found(station)
        if found is None or wanted != self.wanted or found.taps != tuple(taps):
            return None
        self.used += 1
        return found.result

    def _found(self, station: str) -> _Found | None:
        sent = self._begun.get(station)
        try:
            return sent.result() if sent else None
        except Gone:  # its process is gone: the screening does the work itself
            return None


def _analysed(take: _Take) -> _Found | None:
    """None where a recording cannot be read: the screening will say why."""
    with ExitStack() as stack:
        paths = [path for path, _ in take.strikes]
        heard = [h for h in listen_all(paths, take.wanted.settings, ALONE, stack) if isinstance(h, Heard)]
        plan = [
            Planned(f, k, take.station, force, f"{f}.{k}")
            for f, (one, (_, force)) in enumerate(zip(heard, take.strikes, strict=False))
            for k in range(len(one.spans))
        ]
        bad: list[str] = []
        results = analyse_places(heard, plan, take.wanted, ALONE, bad)
        if bad or len(heard) < len(paths) or not results:
            return None
        listened = tuple(Listened(h.recording, h.spans, h.quietest_s) for h in heard)
        return _Found(listened, tuple(spot_of(heard, p) for p in plan), results[0])
