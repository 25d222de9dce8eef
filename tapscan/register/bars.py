"""The shop's reference bars.

list_bars(register)                       every Bar, oldest first
find_bar(register, name)                  one Bar
note_bar(register, name, notes)           Bar; makes it where there is none of that name
readings_of(register, name)               what was heard of it with each scan, oldest first
"""

from sqlalchemy import Row, select

from tapscan.errors import UnknownName
from tapscan.records import BarReading, BarReadings
from tapscan.register import tables as t
from tapscan.register.bar_files import bar_row
from tapscan.register.codec import record_of
from tapscan.register.database import Register
from tapscan.register.entries import Bar, ScanEntry
from tapscan.register.names import name_key
from tapscan.register.results import load_screening
from tapscan.register.scans import scans_with_bar


def list_bars(register: Register) -> list[Bar]:
    """Oldest first."""
    with register.reading() as connection:
        return [_bar(row) for row in connection.execute(select(t.bar).order_by(t.bar.c.row))]


def find_bar(register: Register, name: str) -> Bar:
    """Raises UnknownName and lists the bars."""
    bars = list_bars(register)
    found = next((b for b in bars if name_key(b.name) == name_key(name)), None)
    if found is None:
        known = ", ".join(b.name for b in bars)
        raise UnknownName(
            f"there is no reference bar {name!r}; " + (f"there is {known}" if known else "there is none yet")
        )
    return found


def note_bar(register: Register, name: str, notes: str | None = None) -> Bar:
    """What is noted of one that is there is written anew where `notes` is given."""
    with register.writing() as connection:
        row = bar_row(connection, name)
        if notes is not None:
            connection.execute(t.bar.update().where(t.bar.c.row == row.row).values(notes=notes))
    return find_bar(register, name)


def readings_of(register: Register, name: str, newest: int | None = None) -> list[tuple[ScanEntry, BarReadings]]:
    """Of scans that are not crossed out; `newest` : no more than so many."""
    entries = scans_with_bar(register, find_bar(register, name).id, newest)
    found = [(e, load_screening(register, e.current.id).scan.bar) for e in entries]
    return [(e, b) for e, b in found if b]


def _bar(row: Row) -> Bar:
    first = record_of(BarReading, row.first) if row.first else None
    return Bar(row.name, row.notes, row.added_utc, row.first_scan, first, row.row)
