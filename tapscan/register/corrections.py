"""A scan that should not count, or belongs to another plate or day. Nothing is ever deleted.

void_scan(register, name, why, on)         ScanEntry, crossed out: kept and shown, never compared
restore_scan(register, name)               ScanEntry, counting again
move_scan(register, name, plate, why, on, day)  ScanEntry under its new name, of another plate, another day, or both
compared_with(register, name, plate)       names of the plate's scans whose result rests on that scan
"""

import datetime as dt
from collections.abc import Callable

from msgspec.structs import asdict

from tapscan.errors import BadRequest
from tapscan.register import tables as t
from tapscan.register.codec import plain
from tapscan.register.database import Register
from tapscan.register.entries import Move, ScanEntry
from tapscan.register.names import scan_name
from tapscan.register.numbers import next_number
from tapscan.register.plates import find_plate
from tapscan.register.results import load_screening
from tapscan.register.scans import find_scan, list_scans, not_crossed_out
from tapscan.unseen import as_text
from tapscan.wording import argument


def void_scan(register: Register, name: str, why: str, on: dt.date) -> ScanEntry:
    """Raises BadRequest without a reason, where it is crossed out already, or where an examination found a flaw: that never vanishes."""
    why = _reason(why, "a lorry went by")
    return _write(register, name, _may_be_void, void_on=on, void_why=why)


def _may_be_void(entry: ScanEntry) -> None:
    if not_crossed_out(entry).flaws:
        raise BadRequest(
            f"{entry.name}: an examination found a flaw ({entry.flaws[0].told}), and that is not crossed out; "
            f"where the scan is another plate's: `tapscan scan move {argument(entry.name)} PLATE`"
        )


def restore_scan(register: Register, name: str) -> ScanEntry:
    """Raises BadRequest where it counts already."""
    return _write(register, name, _is_void, void_on=None, void_why=None)


def _is_void(entry: ScanEntry) -> None:
    if not entry.crossed_out:
        raise BadRequest(f"{entry.name} is not crossed out")


def _write(register: Register, name: str, may: Callable[[ScanEntry], None], **values: object) -> ScanEntry:
    """`may` is asked when nobody else writes any more."""
    with register.writing() as connection:
        entry = find_scan(register, name)
        may(entry)
        connection.execute(t.scan.update().where(t.scan.c.row == entry.id).values(**values))
    return find_scan(register, entry.name)


def _reason(why: str, example: str) -> str:
    if not why.strip():
        raise BadRequest(f"this needs a reason that others can read later: --reason {example!r}")
    return as_text(why.strip())


def move_scan(
    register: Register, name: str, plate_name: str, why: str, on: dt.date, day: dt.date | None = None
) -> ScanEntry:
    """It gets the next number there, or the one that it had before; of another plate it is no baseline scan any more. `day` : on which it was tapped; else it keeps its own.

    Raises BadRequest without a reason, where it is there already, or where what was examined could not have been tapped by then.
    """
    entry, plate = find_scan(register, name), find_plate(register, plate_name, exact=True)
    date, stays = day or entry.date, entry.plate == plate.name
    _may_move(entry, date, stays=stays)
    why = _reason(why, f"it was of {date}" if stays else f"this was {plate.name}")
    with register.writing() as connection:
        entry = find_scan(register, entry.name)  # with the moves that others made meanwhile
        number = next_number(connection, plate, date, entry.moves)
        after = scan_name(plate.name, date, number)
        moves = [*map(asdict, entry.moves), asdict(Move(entry.name, after, on.isoformat(), why, entry.current.number))]
        values = {"plate_id": plate.id, "number": number, "moves": moves}
        values |= {} if stays else {"baseline": False, "baseline_although": None}
        changed = t.scan.update().where(t.scan.c.row == entry.id)
        connection.execute(changed.values(date=date, **plain(values)))
    return find_scan(register, after)


def _may_move(entry: ScanEntry, date: dt.date, *, stays: bool) -> None:
    if stays and date == entry.date:
        raise BadRequest(f"{entry.name} is a scan of {entry.plate}, of {date}, already")
    if date > dt.date.today():
        raise BadRequest(f"{entry.name} cannot be of {date}: that day is still to come")
    if early := [o for o in entry.outcomes if not o.not_before(date)]:
        raise BadRequest(
            f"{entry.name} cannot be of {date}: an examination of {early[0].on} is noted with it, and that came after the taps"
        )


def compared_with(register: Register, name: str, plate_name: str) -> tuple[str, ...]:
    """Oldest first."""
    found = []
    for entry in list_scans(register, plate_name):
        comparison = load_screening(register, entry.current.id).comparison
        if comparison and name in comparison.baselines and entry.name != name:
            found.append(entry.name)
    return tuple(found)
