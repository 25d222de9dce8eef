"""What a stored scan could have found: where it listened, by what limits, beside which scans.

heard_of(connection, screenings)   by row of the screening: Heard
heard_in(screening)                Heard of a scan at hand
beside_of(connection, screenings)  by row of the screening: days of the scans it was compared with
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Row, select

from tapscan.records import PlayedNotes, Screening, Strike
from tapscan.records.heard import Heard, Tap, day_of
from tapscan.records.modes import room_untold
from tapscan.register import tables as t
from tapscan.register.codec import record_of
from tapscan.sensors import Sensor

AT_ONCE = 500  # screenings in one question


def heard_in(screening: Screening, *, room_unread: bool = False) -> Heard:
    """Places of two layouts may have the same name and lie elsewhere, so the layout is told too."""
    scan, comparison = screening.scan, screening.comparison
    spots = {s.name: (s.x, s.y) for s in scan.map.stations} if scan.map else {}
    return _heard(
        scan.played,
        _spots(scan.layout, scan.places, scan.strikes),
        spots,
        scan.strikes,
        settings_sha256=screening.settings_sha256,
        beside=tuple(day_of(name) for name in comparison.baselines) if comparison else (),
        files=tuple(r.sha256 for r in scan.recordings),
        room_unread=room_unread,
    )


def heard_of(connection: Connection, screenings: Sequence[int]) -> dict[int, Heard]:
    """The same without the rest of the scans, which may be many."""
    beside = beside_of(connection, screenings)
    return {row: heard for some in _in_parts(screenings) for row, heard in _some(connection, some, beside).items()}


def beside_of(connection: Connection, screenings: Sequence[int]) -> dict[int, tuple[str, ...]]:
    """Those that were compared with none are left out."""
    made = t.comparison.c
    asked = select(made.screening_id, made.document["baselines"].label("baselines"))
    rows = (
        row for some in _in_parts(screenings) for row in connection.execute(asked.where(made.screening_id.in_(some)))
    )
    return {row.screening_id: tuple(day_of(name) for name in row.baselines or ()) for row in rows}


def _in_parts(screenings: Sequence[int]) -> Iterator[Sequence[int]]:
    for first in range(0, len(screenings), AT_ONCE):
        yield screenings[first : first + AT_ONCE]


def _some(connection: Connection, screenings: Sequence[int], beside: Mapping[int, tuple[str, ...]]) -> dict[int, Heard]:
    made, s = t.screening.c, t.scan.c
    struck = _by_screening(connection, t.strike, screenings)
    files = _by_screening(connection, t.recording, screenings)
    told = (made.row, made.layout, made.places, made.scan_more, made.settings_sha256, s.sensor_kind)
    asked = select(*told).select_from(t.screening.join(t.scan)).where(made.row.in_(screenings))
    return {
        row.row: _of_row(row, struck.get(row.row, []), files.get(row.row, []), beside.get(row.row, ()))
        for row in connection.execute(asked)
    }


def _by_screening(connection: Connection, table: Any, screenings: Sequence[int]) -> dict[int, list[Row]]:
    asked = select(table).where(table.c.screening_id.in_(screenings)).order_by(table.c.position)
    rows: dict[int, list[Row]] = {}
    for row in connection.execute(asked):
        rows.setdefault(row.screening_id, []).append(row)
    return rows


def _of_row(row: Row, struck: Sequence[Row], files: Sequence[Row], beside: tuple[str, ...]) -> Heard:
    more = row.scan_more or {}
    played = record_of(PlayedNotes, more["played"]) if more.get("played") else None
    strikes = [record_of(Strike, one._mapping) for one in struck]
    stations = (more.get("map") or {}).get("stations", ())
    untold = room_untold(more.get("room_left_in"), more.get("room"), more.get("room_reason"))
    return _heard(
        played,
        _spots(row.layout, row.places or (), strikes),
        {one["name"]: (one["x"], one["y"]) for one in stations},
        strikes,
        settings_sha256=row.settings_sha256,
        beside=beside,
        files=tuple(one.sha256 for one in files),
        room_unread=untold and not played and not Sensor(row.sensor_kind).contact,
    )


def _heard(
    played: PlayedNotes | None,
    where: Mapping[str, str],
    spots: Mapping[str, tuple[float, float]],
    strikes: Sequence[Strike],
    **more: Any,
) -> Heard:
    if played:
        keys = {note.key: "" for note in played.notes if note.key}
        notes = tuple(Tap(n.recording, n.onset_s, n.level_db) for n in played.notes)
        return Heard(keys, taps=notes, **more)
    taps = tuple(Tap(s.recording, s.onset_s, s.level_db) for s in strikes)
    return Heard(where, {name: spots[name] for name in where if name in spots}, taps=taps, **more)


def _spots(layout: str | None, places: Sequence[Sequence[str]], strikes: Sequence[Strike]) -> dict[str, str]:
    where = {station: words for station, words in places}
    return {s.station: f"{layout or ''}: {where.get(s.station, '')}" for s in strikes if s.usable}
