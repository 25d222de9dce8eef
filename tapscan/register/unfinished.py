"""Scans while they are being recorded: every strike is safe before the next is asked for.

begin(register, plate, facts, plan)        Unfinished, without a strike
take(register, unfinished, strike)         the strike's row, once a key; its file lies in its place already
undo(register, unfinished, key)            the strike stays, and no longer counts
change_begun(register, unfinished, ...)    other facts and another plan than it was begun with
end(register, unfinished, how)             it became a stored scan, or was given up; nothing is ever deleted
unfinished_scans(register, plate)          those that have not ended, oldest first
"""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, Row, Select, func, select

from tapscan.errors import BadRequest
from tapscan.register import tables as t
from tapscan.register.codec import plain, record_of
from tapscan.register.database import Register, utc_now
from tapscan.register.entries import KeptFile, NewScan
from tapscan.register.plates import find_plate, note_file, plate_row
from tapscan.register.recording_entries import TakenStrike, Unfinished


def begin(register: Register, plate_name: str, facts: NewScan, plan: dict[str, Any]) -> Unfinished:
    """Raises UnknownName for a plate that is not in the register."""
    plate = find_plate(register, plate_name, exact=True)
    row = {"plate_id": plate.id, "begun_utc": utc_now(), "facts": _as_kept(facts)}
    with register.writing() as connection:
        key = connection.execute(t.unfinished.insert().values(**row, plan=plain(plan))).inserted_primary_key
    assert key is not None
    return find_unfinished(register, int(key[0]))


def _as_kept(facts: NewScan) -> dict[str, Any]:
    return {**plain(facts), "date": facts.date.isoformat()}


def change_begun(register: Register, unfinished: int, facts: NewScan, plan: dict[str, Any]) -> None:
    """What was taken stays. Raises BadRequest where the recording has ended meanwhile."""
    with register.writing() as connection:
        _not_ended(connection, unfinished)
        change = t.unfinished.update().where(t.unfinished.c.row == unfinished)
        connection.execute(change.values(facts=_as_kept(facts), plan=plain(plan)))


def take(register: Register, unfinished: int, strike: TakenStrike) -> int:
    """Position of the stored strike. File row and strike row come together, or neither; a key that is known already changes nothing.

    Raises BadRequest where the recording has ended meanwhile.
    """
    with register.writing() as connection:
        if strike.key and (known := connection.execute(_at(strike.key)).scalar()):
            return int(known)
        _not_ended(connection, unfinished)
        note_file(connection, strike.file)
        mine = t.taken_strike.c.unfinished_id == unfinished
        last = connection.execute(select(func.max(t.taken_strike.c.position)).where(mine)).scalar()
        position = int(last or 0) + 1
        row = {
            "unfinished_id": unfinished,
            "position": position,
            "station": strike.station,
            "force": strike.force,
            "sha256": strike.file.sha256,
            "level_db": strike.level_db,
            "snr_db": strike.snr_db,
            "blocks_lost": strike.blocks_lost,
            "taken_utc": utc_now(),
            "key": strike.key,
        }
        connection.execute(t.taken_strike.insert().values(plain(row)))
    return position


def _at(key: str) -> Select[Any]:
    return select(t.taken_strike.c.position).where(t.taken_strike.c.key == key)


def _not_ended(connection: Connection, unfinished: int) -> None:
    how = connection.execute(select(t.unfinished.c.ended_how).where(t.unfinished.c.row == unfinished)).scalar()
    if how is not None:
        raise BadRequest(f"this recording has ended meanwhile ({how}), so nothing was added to it")


def undo(register: Register, unfinished: int, key: str) -> None:
    """Marks the strike as undone."""
    where = (t.taken_strike.c.unfinished_id == unfinished, t.taken_strike.c.key == key)
    with register.writing() as connection:
        connection.execute(t.taken_strike.update().where(*where).values(undone_utc=utc_now()))


def end(register: Register, unfinished: int, how: str) -> None:
    """`how`: the name of the scan it became, or why it was given up."""
    with register.writing() as connection:
        change = t.unfinished.update().where(t.unfinished.c.row == unfinished)
        connection.execute(change.values(ended_utc=utc_now(), ended_how=how))


def find_unfinished(register: Register, number: int) -> Unfinished:
    """By its row. Raises BadRequest."""
    with register.reading() as connection:
        found = _read(connection, t.unfinished.c.row == number)
    if not found:
        raise BadRequest(f"no scan number {number} is being recorded; `tapscan scan list` shows what there is")
    return found[0]


def unfinished_scans(register: Register, plate_name: str | None = None) -> list[Unfinished]:
    """Of one plate, or of all."""
    where: list[Any] = [t.unfinished.c.ended_utc.is_(None)]
    with register.reading() as connection:
        if plate_name is not None:
            where.append(t.unfinished.c.plate_id == plate_row(connection, plate_name).row)
        return _read(connection, *where)


def _read(connection: Connection, *where: Any) -> list[Unfinished]:
    query = select(t.unfinished, t.plate.c.name.label("plate_name")).join(t.plate).where(*where)
    rows = connection.execute(query.order_by(t.unfinished.c.row)).fetchall()
    return [_entry(row, _strikes(connection, row.row)) for row in rows]


def _strikes(connection: Connection, unfinished: int) -> list[Row]:
    query = select(t.taken_strike, t.file.c.size_bytes).join(t.file)
    where = t.taken_strike.c.unfinished_id == unfinished
    return list(connection.execute(query.where(where).order_by(t.taken_strike.c.position)).fetchall())


def _entry(row: Row, strikes: Sequence[Row]) -> Unfinished:
    taken = tuple(
        TakenStrike(
            s.station,
            s.force,
            KeptFile(s.sha256, s.size_bytes, name_of(s.station, s.position, s.force)),
            s.level_db,
            s.snr_db,
            s.blocks_lost,
            s.undone_utc is not None,
            s.position,
            s.key,
        )
        for s in strikes
    )
    facts = record_of(NewScan, row.facts)
    return Unfinished(row.row, row.plate_name, row.begun_utc, facts, row.plan or {}, taken, row.ended_how)


def name_of(station: str, position: int, force: str | None) -> str:
    """What a strike's recording is called: the station first, as in files that are imported."""
    return "_".join(filter(None, (station, f"{position:03d}", force))) + ".flac"
