"""Visits: one a plate and day.

edit_visit(register, plate, date, change)       Visit after the change; photos stay
keep_visit(register, visit, unless)             the same, whatever was there of that plate and day
find_visit(register, name)                      one Visit, by PLATE/DATE or by a plate's name for its newest
list_visits(register, plate)                    Visit after Visit, oldest first
visit_on(register, plate, date)                 the one of that day, or None
add_look_outcome(register, visit, region, outcome)    what an examination found of what was noted there; never taken away
add_look_photo(register, plate, date, region, file)   a photo that lies in the folder, to a region and to the plate
remove_look_photo(register, visit, region, sha256)     from the region; it stays with the plate
looks_of(connection, visits)    of many visits at once, without photos
visit_of(row, looks)            one Visit from its row
"""

import datetime as dt
from collections.abc import Callable, Sequence

from msgspec.structs import replace
from sqlalchemy import Connection, Row, select

from tapscan.errors import BadRequest, UnknownName
from tapscan.places import REGIONS
from tapscan.register import tables as t
from tapscan.register.codec import plain
from tapscan.register.database import Register, utc_now
from tapscan.register.entries import KeptFile, Outcome, TakenBack
from tapscan.register.names import SCAN_NAME, split_scan_name
from tapscan.register.outcomes import sound_outcome
from tapscan.register.plates import add_photo, find_plate, plate_row
from tapscan.register.taken_back import of_round, round_kept
from tapscan.register.visit_entries import Look, Visit, sound_look

FACTS = ("maker", "piano_number", "place", "by_whom", "present", "state", "notes")
OUTCOME = ("found", "method", "by_whom", "on", "note")


def keep_visit(
    register: Register, visit: Visit, unless: Callable[[Visit], None] = lambda _: None, mistake: str | None = None
) -> Visit:
    """Facts and looks as they are given. `unless` gets what is there and raises where it may not be replaced; `mistake` as in edit_visit."""

    def change(now: Visit) -> Visit:
        unless(now)
        return visit

    return edit_visit(register, visit.plate, visit.date, change, mistake)


def edit_visit(
    register: Register, plate_name: str, date: dt.date, change: Callable[[Visit], Visit], mistake: str | None = None
) -> Visit:
    """`change` gives the visit as it should be, from what it is when nobody else writes; photos are added by `add_look_photo` and are not touched.

    mistake : why what may be a crack had been noted though it was never there; without it that is not taken away
    """
    plate = find_plate(register, plate_name, exact=True)
    with register.writing() as connection:
        before = visit_on(register, plate.name, date) or Visit(plate.name, date)
        visit = change(before)
        looks = round_kept(before, [sound_look(look) for look in visit.looks], mistake)
        back = (*before.taken_back, *of_round(before, looks, mistake))
        key = _row_for(connection, plate.id, date)
        facts = {**{name: getattr(visit, name) for name in FACTS}, "taken_back": list(back) or None}
        connection.execute(t.visit.update().where(t.visit.c.row == key).values(plain(facts)))
        connection.execute(t.visit_look.delete().where(t.visit_look.c.visit_id == key))
        for look in looks:
            if look.answer is not None:
                row = {"visit_id": key, "region": look.region, "answer": look.answer, "note": look.note}
                connection.execute(t.visit_look.insert().values(plain({**row, "signs": look.signs})))
    return _found(visit_on(register, plate.name, date))


def find_visit(register: Register, name: str) -> Visit:
    """Raises UnknownName and says which there are."""
    if not SCAN_NAME.fullmatch(name.strip()):
        every = list_visits(register, name)
        if not every:
            raise UnknownName(f"no visit of {name!r} is noted yet; `tapscan visit note` notes one")
        return every[-1]
    plate_name, date, number = split_scan_name(name)
    plate = find_plate(register, plate_name)
    if number == 1 and (found := visit_on(register, plate.name, date)) is not None:
        return found
    days = ", ".join(v.name for v in list_visits(register, plate.name)[-8:])
    raise UnknownName(f"there is no visit {name!r}; " + (f"there is {days}" if days else f"{plate.name} has none yet"))


def list_visits(register: Register, plate_name: str | None = None) -> list[Visit]:
    """Of one plate, or of all by plate and day."""
    query = select(t.visit, t.plate.c.name).join(t.plate).order_by(t.plate.c.name_key, t.visit.c.date)
    with register.reading() as connection:
        if plate_name is not None:
            query = query.where(t.visit.c.plate_id == plate_row(connection, plate_name).row)
        return [_visit(connection, row) for row in connection.execute(query).fetchall()]


def visit_on(register: Register, plate_name: str, date: dt.date) -> Visit | None:
    """The plate by its whole name."""
    return next((v for v in list_visits(register, plate_name) if v.date == date), None)


def add_look_photo(register: Register, plate_name: str, date: dt.date, region: str, file: KeptFile) -> Visit:
    """The visit is begun where there is none. The same photo at the same region counts once."""
    sound_look(Look(region))
    plate = add_photo(register, plate_name, file)
    with register.writing() as connection:
        key = _row_for(connection, plate.id, date)
        row = {"visit_id": key, "region": region, "sha256": file.sha256}
        known = select(t.visit_photo).filter_by(**row)
        if connection.execute(known).first() is None:
            connection.execute(t.visit_photo.insert().values(plain({**row, "name": file.name, "added_utc": utc_now()})))
    return _found(visit_on(register, plate.name, date))


def add_look_outcome(register: Register, visit: Visit, region: str, outcome: Outcome) -> Visit:
    """Told twice it counts once. Raises BadRequest where nothing was noted there, nobody is named, or the day is before the visit."""
    sound_outcome(outcome, visit.date)
    sound_look(Look(region))
    with register.writing() as connection:
        now = _found(visit_on(register, visit.plate, visit.date))
        look = next(look for look in now.round if look.region == region)
        if look.answer != "note":
            raise BadRequest(f"{now.name}: nothing was noted at {REGIONS[region]}, so there is nothing to explain")
        if not any(replace(o, entered_utc=None) == replace(outcome, entered_utc=None) for o in look.outcomes):
            told = {name: getattr(outcome, name) for name in OUTCOME}
            row = {**told, "visit_id": now.id, "region": region, "entered_utc": utc_now()}
            connection.execute(t.visit_outcome.insert().values(row))
    return _found(visit_on(register, visit.plate, visit.date))


def remove_look_photo(register: Register, visit: Visit, region: str, sha256: str) -> Visit:
    """It stays with the plate."""
    with register.writing() as connection:
        c = t.visit_photo.c
        these = (c.visit_id == visit.id, c.region == region, c.sha256 == sha256)
        connection.execute(t.visit_photo.delete().where(*these))
    return _found(visit_on(register, visit.plate, visit.date))


def _found(visit: Visit | None) -> Visit:
    assert visit is not None
    return visit


def _row_for(connection: Connection, plate_id: int | None, date: dt.date) -> int:
    known = select(t.visit.c.row).where(t.visit.c.plate_id == plate_id, t.visit.c.date == date)
    if (row := connection.execute(known).scalar()) is not None:
        return int(row)
    values = {"plate_id": plate_id, "date": date, "stored_utc": utc_now()}
    key = connection.execute(t.visit.insert().values(values)).inserted_primary_key
    assert key is not None
    return int(key[0])


def _visit(connection: Connection, row: Row) -> Visit:
    looks = {look.region: look for look in looks_of(connection, [row.row]).get(row.row, ())}
    for region, photos in _photos(connection, row.row).items():
        looks[region] = replace(looks.get(region, Look(region)), photos=photos)
    return visit_of(row, tuple(looks[region] for region in REGIONS if region in looks))


def visit_of(row: Row, looks: tuple[Look, ...]) -> Visit:
    """From a row with the plate's `name`."""
    facts = {name: row._mapping[name] for name in FACTS}
    back = tuple(TakenBack(**one) for one in row.taken_back or ())
    return Visit(row.name, row.date, **facts, looks=looks, taken_back=back, stored_utc=row.stored_utc, id=row.row)


def looks_of(connection: Connection, visits: Sequence[int]) -> dict[int, tuple[Look, ...]]:
    """By row of the visit, in the order of REGIONS; those without an answer or an outcome are left out."""
    looks: dict[int, dict[str, Look]] = {}
    if not visits:
        return {}
    for r in connection.execute(select(t.visit_look).where(t.visit_look.c.visit_id.in_(visits))):
        looks.setdefault(r.visit_id, {})[r.region] = Look(r.region, r.answer, tuple(r.signs or ()), r.note)
    c = t.visit_outcome.c
    query = select(c.visit_id, c.region, *(c[name] for name in OUTCOME), c.entered_utc).where(c.visit_id.in_(visits))
    for visit, region, *told in connection.execute(query.order_by(c.row)):
        mine = looks.setdefault(visit, {})
        look = mine.get(region, Look(region))
        mine[region] = replace(look, outcomes=(*look.outcomes, Outcome(*told)))
    return {v: tuple(mine[region] for region in REGIONS if region in mine) for v, mine in looks.items()}


def _photos(connection: Connection, visit_id: int) -> dict[str, tuple[KeptFile, ...]]:
    c = t.visit_photo.c
    query = select(c.region, c.sha256, t.file.c.size_bytes, c.name).join(t.file).where(c.visit_id == visit_id)
    found: dict[str, tuple[KeptFile, ...]] = {}
    for region, *file in connection.execute(query.order_by(c.added_utc, c.name)):
        found[region] = (*found.get(region, ()), KeptFile(*file))
    return found
