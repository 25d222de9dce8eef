"""Where a stored scan listened: its places that gave a usable tap, or the keys that were heard.

heard_of(connection, screenings)   by row of the screening: Heard
heard_in(scan)                     Heard of a scan at hand
Heard                              place or key -> where that is, as far as it was told
"""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, select

from tapscan.records import PlayedNotes, Scan, Strike
from tapscan.register import tables as t
from tapscan.register.codec import record_of

Heard = Mapping[str, str]
AT_ONCE = 500  # screenings in one question


def heard_in(scan: Scan) -> Heard:
    """Places of two layouts may have the same name and lie elsewhere, so the layout is told too."""
    if scan.played:
        return _keys(scan.played)
    return _spots(scan.layout, scan.places, [s.station for s in scan.strikes if s.usable])


def heard_of(connection: Connection, screenings: Sequence[int]) -> dict[int, Heard]:
    """The same without the rest of the scans, which may be many."""
    found: dict[int, Heard] = {}
    for first in range(0, len(screenings), AT_ONCE):
        found |= _some(connection, screenings[first : first + AT_ONCE])
    return found


def _some(connection: Connection, screenings: Sequence[int]) -> dict[int, Heard]:
    made, struck = t.screening.c, t.strike.c
    tapped: dict[int, list[str]] = {}
    for row in connection.execute(select(t.strike).where(struck.screening_id.in_(screenings))):
        strike = record_of(Strike, row._mapping)
        if strike.usable:
            tapped.setdefault(row.screening_id, []).append(strike.station)
    asked = select(made.row, made.layout, made.places, made.scan_more).where(made.row.in_(screenings))
    return {row.row: _told(row, tapped.get(row.row, [])) for row in connection.execute(asked)}


def _told(row: Any, tapped: Sequence[str]) -> Heard:
    played = (row.scan_more or {}).get("played")
    return _keys(record_of(PlayedNotes, played)) if played else _spots(row.layout, row.places or (), tapped)


def _spots(layout: str | None, places: Sequence[Sequence[str]], tapped: Sequence[str]) -> Heard:
    where = {station: words for station, words in places}
    return {station: f"{layout or ''}: {where.get(station, '')}" for station in tapped}


def _keys(played: PlayedNotes) -> Heard:
    return {note.key: "" for note in played.notes if note.key}
