"""Which tap, or which key, is wanted next: the stations in order, the taps wanted at each, what was taken. No sound, no screen, no clock.

Guide(stations, order, taken)   taken: station and force of each strike so far, in the order taken
    .station, .force            what is wanted now; None when all is done
    .accept()                   the wanted strike was taken; moves on when the station has all its taps
    .undo()                     index into the taken strikes of the one taken back, or None
    .skip() .back() .repeat()   leave this station; go to the one before; take this station's taps anew
KeyGuide   a Guide whose stations are keys, one note each;   AnyKeys(taken)   the same where any key will do
"""

from collections.abc import Sequence
from typing import Generic, Literal, TypeVar

from msgspec import Struct, field

from tapscan.wording import counted

Turn = TypeVar("Turn", bound=str)  # what a station wants: the force of a tap, or a note
Key = Literal["key"]
KEY: Key = "key"


class Guide(Struct, Generic[Turn]):
    """Where the person is on the way round the plate."""

    stations: tuple[str, ...]
    order: tuple[Turn, ...]
    taken: list[tuple[str, Turn]] = field(default_factory=list)
    at: int = 0
    skipped: set[str] = field(default_factory=set)

    @classmethod
    def resumed(
        cls, stations: Sequence[str], order: Sequence[Turn], taken: Sequence[tuple[str, Turn]]
    ) -> "Guide[Turn]":
        """At the first station that lacks a tap."""
        guide = cls(tuple(stations), tuple(order), list(taken))
        guide.at = next((i for i, s in enumerate(guide.stations) if guide.missing(s)), len(guide.stations))
        return guide

    @property
    def station(self) -> str | None:
        """The one to tap now."""
        return self.stations[self.at] if self.at < len(self.stations) else None

    @property
    def force(self) -> Turn | None:
        """Of the tap wanted now."""
        wanted = self.missing(self.station) if self.station else []
        return wanted[0] if wanted else None

    def missing(self, station: str) -> list[Turn]:
        """Taps still wanted at a station, in order."""
        left = list(self.order)
        for where, force in self.taken:
            if where == station and force in left:
                left.remove(force)
        return left

    def count(self, station: str, force: Turn) -> tuple[int, int]:
        """Taken and wanted."""
        return sum(t == (station, force) for t in self.taken), self.order.count(force)

    @property
    def told(self) -> str:
        """How many of each are taken at this place; empty when all is done."""
        here = self.station
        return (
            ", ".join("{} of {} {}".format(*self.count(here, f), f) for f in dict.fromkeys(self.order)) if here else ""
        )

    @property
    def done(self) -> int:
        """Stations with all their taps."""
        return sum(not self.missing(s) for s in self.stations)

    def accept(self) -> bool:
        """Whether the station is complete now."""
        station, force = self.station, self.force
        if station is None or force is None:
            return False
        self.taken.append((station, force))
        self.skipped.discard(station)
        if self.missing(station):
            return False
        self._on()
        return True

    def _on(self) -> None:
        """To the next station that lacks a tap and was not skipped; at the end to those that were."""
        later = [i for i in range(self.at + 1, len(self.stations)) if self._open(i)]
        before = [i for i in range(self.at) if self._open(i)]
        self.at = (later or before or [len(self.stations)])[0]

    def _open(self, i: int) -> bool:
        return bool(self.missing(self.stations[i])) and self.stations[i] not in self.skipped

    def undo(self) -> int | None:
        """The last strike does not count; its station is wanted again."""
        if not self.taken:
            return None
        station, _ = self.taken.pop()
        self.at = self.stations.index(station)
        return len(self.taken)

    def skip(self) -> None:
        """Leave this station; its taps so far stay."""
        if self.station is not None:
            self.skipped.add(self.station)
            self._on()

    def back(self) -> None:
        """To the station before, whatever was taken there."""
        self.at = max(0, self.at - 1)
        if self.station is not None:
            self.skipped.discard(self.station)

    def repeat(self) -> list[int]:
        """Indices of this station's strikes, which no longer count; at a complete one after `back` it begins anew."""
        station = self.station
        gone = [i for i, (where, _) in enumerate(self.taken) if where == station]
        self.taken = [t for t in self.taken if t[0] != station]
        return gone


KeyGuide = Guide[Key]


class AnyKeys(Struct):
    """Where no key was named: what was heard so far."""

    taken: list[str]
    station: str | None = "any key"
    force: None = None

    @property
    def stations(self) -> tuple[str, ...]:
        """Each key once."""
        return tuple(dict.fromkeys(self.taken))

    @property
    def done(self) -> int:
        """Keys that were played."""
        return len(self.stations)

    @property
    def told(self) -> str:
        """How many, and the newest."""
        return f"{counted(len(self.taken), 'note')} kept" + (f": {', '.join(self.taken[-8:])}" if self.taken else "")

    def missing(self, station: str) -> list[str]:  # noqa: D102
        return []

    def undo(self) -> int | None:
        """Index into the taken notes of the one taken back, or None."""
        if not self.taken:
            return None
        self.taken.pop()
        return len(self.taken)
