"""Which number a scan gets on its day.

next_number(connection, plate, date, former)   1 for the first scan of the day
next_number_on(register, plate, date)          the same, of a plate by its name

A number that a scan had before it went to another plate or day is not given to another one: what was compared with that scan would pass for compared with this.
"""

import datetime as dt
from collections.abc import Sequence

from sqlalchemy import Connection, select

from tapscan.register import tables as t
from tapscan.register.database import Register
from tapscan.register.entries import Move, Plate
from tapscan.register.names import name_key, split_scan_name
from tapscan.register.plates import find_plate


def next_number(connection: Connection, plate: Plate, date: dt.date, former: Sequence[Move] = ()) -> int:
    """`former` : moves of the scan itself, which may come back to its own."""
    of_day = select(t.scan.c.number).where(t.scan.c.plate_id == plate.id, t.scan.c.date == date)
    taken = {row.number for row in connection.execute(of_day)}
    own = {m.before for m in former}
    if back := {number for name, number in _on(date, own) if name_key(name) == name_key(plate.name)} - taken:
        return max(back)
    moves = connection.execute(select(t.scan.c.moves).where(t.scan.c.moves.is_not(None))).scalars()
    left = {one["before"] for each in moves for one in each or ()} - own
    others = {row.name_key for row in connection.execute(select(t.plate.c.name_key))} - {name_key(plate.name)}
    used = {number for name, number in _on(date, left) if name_key(name) not in others}  # its own, or a former name's
    return max(taken | used, default=0) + 1


def next_number_on(register: Register, plate: str, date: dt.date) -> int:
    """For a scan that is about to be stored."""
    with register.reading() as connection:
        return next_number(connection, find_plate(register, plate, exact=True), date)


def _on(date: dt.date, names: set[str]) -> list[tuple[str, int]]:
    """Plate and number."""
    told = (split_scan_name(name) for name in names)
    return [(plate, number) for plate, on, number in told if on == date]
