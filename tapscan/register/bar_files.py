"""Recordings of the reference bar beside a scan, inside the caller's transaction.

bar_row(connection, name)             the bar's row, made where there is none
keep_with(connection, scan_id, ...)   recordings of a scan's bar, and the bar's first reading
BARS, kept_bar(rows)                  query for rows of scans' bars; KeptBar of one scan's
"""

from collections.abc import Sequence

from sqlalchemy import Connection, Row, select

from tapscan.records import BarReadings
from tapscan.register import tables as t
from tapscan.register.codec import plain
from tapscan.register.database import utc_now
from tapscan.register.entries import KeptBar, KeptFile
from tapscan.register.names import clean_name, name_key
from tapscan.register.plates import note_file


def bar_row(connection: Connection, name: str) -> Row:
    """Of that name, in whatever case. Raises WrongUsage for a new one that cannot be read."""
    query = select(t.bar).where(t.bar.c.name_key == name_key(name))
    if (row := connection.execute(query).first()) is None:
        name = clean_name(name)
        values = {"name": name, "name_key": name_key(name), "added_utc": utc_now()}
        connection.execute(t.bar.insert().values(plain(values)))
        row = connection.execute(query).one()
    return row


def keep_with(connection: Connection, scan_id: int, scan: str, kept: KeptBar | None, heard: BarReadings | None) -> None:
    """`scan` : its name. The first reading that ever rang is kept with the bar."""
    if kept is None:
        return
    bar = bar_row(connection, kept.name)
    ordered = [(False, f) for f in kept.first] + [(True, f) for f in kept.last]
    for position, (last, file) in enumerate(ordered):
        note_file(connection, file)
        values = {"scan_id": scan_id, "position": position, "bar_id": bar.row, "last": last}
        connection.execute(t.scan_bar.insert().values(plain({**values, "sha256": file.sha256, "name": file.name})))
    reading = next((r for r in (heard.first, heard.last) if r and r.modes), None) if heard else None
    if bar.first is None and reading is not None:
        told = {"first_scan": scan, "first": plain(reading)}
        connection.execute(t.bar.update().where(t.bar.c.row == bar.row).values(told))


BARS = (
    select(t.scan_bar, t.file.c.size_bytes, t.bar.c.name.label("bar_name"))
    .join(t.file)
    .join(t.bar)
    .order_by(t.scan_bar.c.position)
)


def kept_bar(rows: Sequence[Row]) -> KeptBar | None:
    """None without rows."""
    if not rows:
        return None
    first, last = (
        tuple(KeptFile(r.sha256, r.size_bytes, r.name) for r in rows if bool(r.last) == which)
        for which in (False, True)
    )
    return KeptBar(rows[0].bar_name, first, last)
