"""Scans whose reading no longer fits what is known of them.

outdated(register, plate)   rows of scans: their state, or what listened, was put right since, they came from another plate, or what they were compared with does not count any more
"""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, Row, Select, select

from tapscan.records.heard import day_of
from tapscan.records.modes import room_untold
from tapscan.register import tables as t
from tapscan.register.database import Register
from tapscan.register.heard import beside_of
from tapscan.register.names import scan_name
from tapscan.register.on_record import counts_now, put_right
from tapscan.register.plates import plate_row
from tapscan.sensors import Sensor


def outdated(register: Register, plate: str | None = None) -> set[int]:
    """Of one plate, by its whole name, or of all; those crossed out aside."""
    with register.reading() as connection:
        query = (
            _readings() if plate is None else _readings().where(t.scan.c.plate_id == plate_row(connection, plate).row)
        )
        rows = connection.execute(query).fetchall()
        unfit = {r.row for r in rows if r.put_right or _came_over(r) or _a_room_may_be_in(r)}
        return unfit | _beside_what_does_not_count(connection, rows)


def _readings() -> Select[Any]:
    s, made = t.scan.c, t.screening.c
    mine = (s.row, s.plate_id, s.date, s.number, s.moves, s.sensor_kind)
    read = (made.row.label("screening_id"), made.number.label("reading"), put_right().label("put_right"))
    room = {"left_in": "room_left_in", "room": "room", "reason": "room_reason"}
    of_room = (made.scan_more[key].label(name) for name, key in room.items())
    query = select(*mine, *read, *of_room).select_from(t.scan.join(t.screening))
    return query.where(counts_now(), s.void_on.is_(None))


def _a_room_may_be_in(row: Row) -> bool:
    """It was read as a pickup's, and a microphone listened."""
    return room_untold(row.left_in, row.room, row.reason) and not Sensor(row.sensor_kind).contact


def _came_over(row: Row) -> bool:
    return bool(row.moves) and row.moves[-1].get("screening") == row.reading


def _beside_what_does_not_count(connection: Connection, rows: Sequence[Row]) -> set[int]:
    """It is gone, or crossed out, or was made after the scan."""
    counting: dict[tuple[int, str], Row] = {(row.plate_id, _day(row)): row for row in rows}
    beside = beside_of(connection, [row.screening_id for row in rows])
    held = [(row, counting.get((row.plate_id, day))) for row in rows for day in beside.get(row.screening_id, ())]
    return {row.row for row, base in held if base is None or (base.date, base.number) >= (row.date, row.number)}


def _day(row: Row) -> str:
    return day_of(scan_name("", row.date, row.number))
