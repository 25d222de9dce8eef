"""Plates and their photos.

add_plate(register, plate)             Plate as stored
list_plates(register, retired)         every Plate, by name
find_plate(register, name, exact)      one Plate; a name that fits several lists them
plate_row(connection, name, exact)     its row, within a transaction
edit_plate(register, name, **changes)  Plate after the change
retire_plate(register, name, on, why)  Plate, out of the list but with all its scans
add_photo(register, name, file)        a photo that lies in the folder already
"""

import datetime as dt
from collections.abc import Callable
from typing import Any

from msgspec.structs import asdict
from sqlalchemy import Connection, Row, func, select

from tapscan.errors import BadRequest, UnknownName
from tapscan.register import tables as t
from tapscan.register.codec import plain
from tapscan.register.database import Register, utc_now
from tapscan.register.entries import KeptFile, Plate
from tapscan.register.names import clean_name, name_key, plain_key

FACTS = ("pattern", "serial", "kind", "mass_kg", "notes")
MOST_NAMED = 8


def add_plate(register: Register, plate: Plate) -> Plate:
    """Raises BadRequest when there is one of that name, in whatever case."""
    name = clean_name(plate.name)
    _plausible(plate.mass_kg)
    facts = {key: value for key, value in asdict(plate).items() if key in FACTS}
    with register.writing() as connection:
        if twin := _by_key(connection, name):
            raise BadRequest(f"there is a plate {twin.name} already; choose another name, or `tapscan plate edit` it")
        values = {"name": name, "name_key": name_key(name), "added_utc": utc_now(), **facts}
        connection.execute(t.plate.insert().values(plain(values)))
    return find_plate(register, name, exact=True)


def list_plates(register: Register, *, retired: bool = False) -> list[tuple[Plate, int, dt.date | None]]:
    """Plate, number of scans and day of the last one, by name; `retired`: those too."""
    scans = select(t.scan.c.plate_id, func.count().label("scans"), func.max(t.scan.c.date).label("last"))
    counted = scans.group_by(t.scan.c.plate_id).subquery()
    query = select(t.plate, counted.c.scans, counted.c.last).outerjoin(counted, counted.c.plate_id == t.plate.c.row)
    if not retired:
        query = query.where(t.plate.c.retired_on.is_(None))
    with register.reading() as connection:
        rows = connection.execute(query.order_by(t.plate.c.name_key)).fetchall()
    return [(_plate(row), row.scans or 0, row.last) for row in rows]


def find_plate(register: Register, name: str, *, exact: bool = False) -> Plate:
    """The plate of that name; without `exact`, part of a name will do where only one plate has it.

    Raises UnknownName and names the plates that come near.
    """
    with register.reading() as connection:
        row = plate_row(connection, name, exact=exact)
        return _plate(row, _photos(connection, row.row))


def plate_called(register: Register, plate_id: int) -> str | None:
    """Present name of the plate in that row; None where there is none."""
    with register.reading() as connection:
        name: str | None = connection.execute(select(t.plate.c.name).where(t.plate.c.row == plate_id)).scalar()
    return name


def plate_row(connection: Connection, name: str, *, exact: bool = False) -> Row:
    """The same within a transaction; `row` is its number."""
    return _by_key(connection, name) or _one_like(connection, name, exact)


def edit_plate(
    register: Register, plate_name: str, may: Callable[[Plate], None] = lambda _: None, /, **changes: Any
) -> Plate:
    """`changes` of name, pattern, serial, kind, mass_kg, notes, retired_on, retired_why; None clears. `may` sees it as it is when nobody else writes."""
    _plausible(changes.get("mass_kg"))
    if "name" in changes:
        changes["name"] = clean_name(changes["name"])
        changes["name_key"] = name_key(changes["name"])
    with register.writing() as connection:
        plate = find_plate(register, plate_name, exact=True)
        may(plate)
        twin = _by_key(connection, changes["name"]) if "name" in changes else None
        if twin is not None and twin.row != plate.id:
            raise BadRequest(f"there is a plate {twin.name} already; choose another name")
        connection.execute(t.plate.update().where(t.plate.c.row == plate.id).values(plain(changes)))
    return find_plate(register, changes.get("name", plate.name), exact=True)


def retire_plate(register: Register, name: str, on: dt.date, why: str | None) -> Plate:
    """The plate leaves the list; nothing of it is removed."""
    return edit_plate(register, name, retired_on=on, retired_why=why)


def add_photo(register: Register, name: str, file: KeptFile) -> Plate:
    """Note a photo that `keep_file` has put into the folder. The same photo twice counts once."""
    plate = find_plate(register, name, exact=True)
    with register.writing() as connection:
        note_file(connection, file)
        known = select(t.photo.c.sha256).where(t.photo.c.plate_id == plate.id, t.photo.c.sha256 == file.sha256)
        if connection.execute(known).first() is None:
            row = {"plate_id": plate.id, "sha256": file.sha256, "name": file.name, "added_utc": utc_now()}
            connection.execute(t.photo.insert().values(plain(row)))
    return find_plate(register, plate.name, exact=True)


def note_file(connection: Connection, file: KeptFile) -> None:
    """A row for a file in the folder, once."""
    if connection.execute(select(t.file.c.sha256).where(t.file.c.sha256 == file.sha256)).first() is None:
        row = {"sha256": file.sha256, "size_bytes": file.size_bytes, "stored_utc": utc_now()}
        connection.execute(t.file.insert().values(row))


def _plausible(mass_kg: float | None) -> None:
    if mass_kg is not None and not 1 <= mass_kg <= 1000:
        raise BadRequest(f"a plate of {mass_kg:g} kg? Give its mass in kilograms, for example 140")


def _by_key(connection: Connection, name: str) -> Row | None:
    return connection.execute(select(t.plate).where(t.plate.c.name_key == name_key(name))).first()


def _one_like(connection: Connection, name: str, exact: bool) -> Row:
    key = plain_key(name)
    rows = connection.execute(select(t.plate.c.row, t.plate.c.name, t.plate.c.name_key)).fetchall()
    near = sorted((r for r in rows if key and key in plain_key(r.name)), key=lambda r: r.name_key)
    if len(near) == 1 and not exact:
        return connection.execute(select(t.plate).where(t.plate.c.row == near[0].row)).one()
    if not near:
        hint = "`tapscan plate list` shows the plates" if rows else "the register is empty"
        raise UnknownName(f"there is no plate {name!r}; {hint}, `tapscan plate add` adds one")
    named = ", ".join(r.name for r in near[:MOST_NAMED])
    more = f" and {len(near) - MOST_NAMED} more" if len(near) > MOST_NAMED else ""
    if exact:
        raise UnknownName(f"there is no plate {name!r}; near it: {named}{more}; write the name in full")
    raise UnknownName(f"{len(near)} plates match {name!r}: {named}{more}; write the name in full")


def _photos(connection: Connection, plate_id: int) -> tuple[KeptFile, ...]:
    query = (
        select(t.photo.c.sha256, t.file.c.size_bytes, t.photo.c.name).join(t.file).where(t.photo.c.plate_id == plate_id)
    )
    return tuple(KeptFile(*row) for row in connection.execute(query.order_by(t.photo.c.added_utc)))


def _plate(row: Row, photos: tuple[KeptFile, ...] = ()) -> Plate:
    names = ("name", *FACTS, "added_utc", "retired_on", "retired_why")
    return Plate(**{name: row._mapping[name] for name in names}, photos=photos, id=row.row)
