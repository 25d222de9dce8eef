"""Scans whose reading no longer fits what is known of them.

outdated(register)   rows of scans: their state was put right since, they came from another plate, or what they were compared with does not count any more
"""

from collections.abc import Iterable, Mapping

from sqlalchemy import Connection, Row, select

from tapscan.records.heard import day_of
from tapscan.register import tables as t
from tapscan.register.database import Register
from tapscan.register.heard import beside_of
from tapscan.register.names import scan_name
from tapscan.register.on_record import counts_now, put_right


def outdated(register: Register) -> set[int]:
    """Those crossed out aside."""
    s, made = t.scan.c, t.screening.c
    asked = select(
        s.row, s.plate_id, s.date, s.number, s.moves, made.row.label("screening_id"), made.number.label("reading")
    )
    with register.reading() as connection:
        rows = connection.execute(
            asked.add_columns(put_right().label("put_right"))
            .select_from(t.scan.join(t.screening))
            .where(counts_now(), s.void_on.is_(None))
        ).fetchall()
        return {*(r.row for r in rows if r.put_right or _came_over(r)), *_beside_what_is_gone(connection, rows)}


def _came_over(row: Row) -> bool:
    return bool(row.moves) and row.moves[-1].get("screening") == row.reading


def _beside_what_is_gone(connection: Connection, rows: Iterable[Row]) -> set[int]:
    counting: dict[int, set[str]] = {}
    every = list(rows)
    for row in every:
        counting.setdefault(row.plate_id, set()).add(day_of(scan_name("", row.date, row.number)))
    beside: Mapping[int, tuple[str, ...]] = beside_of(connection, [row.screening_id for row in every])
    return {row.row for row in every if set(beside.get(row.screening_id, ())) - counting[row.plate_id]}
