"""A scan that is being recorded, and its strikes: frozen structs without a database in them."""

from typing import Any

from msgspec import Struct

from tapscan.records import Force
from tapscan.register.entries import KeptFile, NewScan


class TakenStrike(Struct, frozen=True):
    """One strike that was accepted while a scan was being recorded."""

    station: str
    force: Force | None
    file: KeptFile
    level_db: float  # of its first half second, dB re full scale
    snr_db: float | None
    blocks_lost: int = 0  # pieces of sound the computer missed since the strike before
    undone: bool = False
    position: int = 0  # 1 for the first; 0 before it is stored
    key: str | None = None  # by which it is known, however often it is sent


class Unfinished(Struct, frozen=True):
    """A scan that is being recorded."""

    id: int
    plate: str
    begun_utc: str
    facts: NewScan
    plan: dict[str, Any]  # layout as text, order of the forces
    strikes: tuple[TakenStrike, ...]  # in the order taken, the undone ones included
    ended_how: str | None = None

    @property
    def kept(self) -> tuple[TakenStrike, ...]:
        """Those that were not undone."""
        return tuple(s for s in self.strikes if not s.undone)
