"""References of a pattern in the register: sets from elsewhere, and the modes of its own scans packed for a search.

    ReferenceSet, SetEntry                       a set as it comes and goes; one that is stored
    add_set(register, found)                     SetEntry; BadRequest where it is there already
    list_sets(register)                          SetEntry after SetEntry, by name
    set_references(register, pattern_key)        Reference after Reference of all sets of a pattern
    packed(register, screenings, made)           Reference by screening; `made` gives those that are not packed yet, which are then kept

Arrays are packed as one .npy: frequency, its sd, loss factor, its sd, then the amplitude at each place; one row a mode.
"""

import io
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Any

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from sqlalchemy import Row, func, select

from tapscan.errors import BadRequest, MayOnlyRead
from tapscan.records import Reference
from tapscan.register import tables as t
from tapscan.register.codec import plain
from tapscan.register.database import Register, utc_now
from tapscan.register.names import clean_name, name_key

FACTS = ("state", "sensor", "layout", "outcome", "standing")
FIGURES = ("frequency_hz", "frequency_sd_hz", "loss_factor", "loss_factor_sd")  # before the places


class ReferenceSet(Struct, frozen=True, eq=False):
    """As a file holds it."""

    name: str
    pattern: str
    references: tuple[Reference, ...]
    sha256: str
    made_by: str
    owner: str | None = None


class SetEntry(Struct, frozen=True):
    """A stored set, without its figures."""

    name: str
    pattern: str
    owner: str | None
    sha256: str
    made_by: str
    imported_utc: str
    plates: int


def pattern_key(pattern: str) -> str:
    """What makes two names of a pattern the same: case, composed letters and runs of blanks do not count."""
    return " ".join(name_key(pattern).split())


def add_set(register: Register, found: ReferenceSet) -> SetEntry:
    """All rows or none."""
    name = clean_name(found.name)
    with register.writing() as connection:
        same = select(t.reference_set.c.name).where(
            (t.reference_set.c.sha256 == found.sha256) | (t.reference_set.c.name_key == name_key(name))
        )
        if (twin := connection.execute(same).scalar()) is not None:
            raise BadRequest(f"there is a set {twin} already, of that name or with that content; nothing was stored")
        values = {
            "name": name,
            "name_key": name_key(name),
            "pattern": found.pattern,
            "owner": found.owner,
            "sha256": found.sha256,
            "made_by": found.made_by,
            "imported_utc": utc_now(),
        }
        key = connection.execute(t.reference_set.insert().values(plain(values))).inserted_primary_key
        assert key is not None
        rows = [{**_row(r, i), "set_id": key[0]} for i, r in enumerate(found.references)]
        if rows:
            connection.execute(t.reference.insert(), rows)
    return next(e for e in list_sets(register) if e.sha256 == found.sha256)


def list_sets(register: Register) -> list[SetEntry]:
    """One query."""
    plates = select(t.reference.c.set_id, func.count().label("plates")).group_by(t.reference.c.set_id).subquery()
    query = select(t.reference_set, plates.c.plates).outerjoin(plates, plates.c.set_id == t.reference_set.c.row)
    with register.reading() as connection:
        rows = connection.execute(query.order_by(t.reference_set.c.name_key)).fetchall()
    return [SetEntry(r.name, r.pattern, r.owner, r.sha256, r.made_by, r.imported_utc, r.plates or 0) for r in rows]


def set_references(register: Register, key: str | None = None) -> dict[str, list[Reference]]:
    """By key of the pattern; of one pattern alone where `key` names it."""
    sets = [s for s in list_sets(register) if key is None or pattern_key(s.pattern) == key]
    if not sets:
        return {}
    query = select(t.reference, t.reference_set.c.name.label("set_name"), t.reference_set.c.pattern)
    query = query.join(t.reference_set).where(t.reference_set.c.name.in_([s.name for s in sets]))
    found: dict[str, list[Reference]] = {}
    with register.reading() as connection:
        for row in connection.execute(query.order_by(t.reference_set.c.name_key, t.reference.c.position)):
            found.setdefault(pattern_key(row.pattern), []).append(replace(_reference(row), of_set=row.set_name))
    return found


def packed(register: Register, screenings: Sequence[int], made: Callable[[int], Reference]) -> dict[int, Reference]:
    """By number of the screening. Only what a screening itself says is kept: outcomes are told anew each time."""
    with register.reading() as connection:
        rows = connection.execute(select(t.reference).where(t.reference.c.screening_id.is_not(None))).fetchall()
    wanted = set(screenings)
    found = {r.screening_id: _reference(r) for r in rows if r.screening_id in wanted}
    missing = {number: made(number) for number in screenings if number not in found}
    if missing:
        with suppress(MayOnlyRead):  # a reader packs them anew each time
            _keep_packed(register, missing)
    return found | missing


def _keep_packed(register: Register, missing: dict[int, Reference]) -> None:
    with register.writing() as connection:
        there = set(connection.execute(select(t.reference.c.screening_id)).scalars())
        rows_new = [{**_row(r, 0), "screening_id": n} for n, r in missing.items() if n not in there]
        if rows_new:
            connection.execute(t.reference.insert(), rows_new)


def _row(reference: Reference, position: int) -> dict[str, Any]:
    facts = {name: getattr(reference, name) for name in FACTS} | {"stations": list(reference.stations)}
    return {"position": position, "name": reference.name, "facts": plain(facts), "arrays": _packed(reference)}


def _packed(r: Reference) -> bytes:
    content = io.BytesIO()
    rows = [getattr(r, name) for name in FIGURES]
    np.save(content, np.column_stack([*rows, r.amplitude_db]).astype(np.float64), allow_pickle=False)
    return content.getvalue()


def _reference(row: Row) -> Reference:
    table = np.load(io.BytesIO(row.arrays), allow_pickle=False)
    facts: dict[str, Any] = {name: row.facts[name] for name in FACTS if row.facts.get(name) is not None}
    columns = dict(zip(FIGURES, table.T, strict=False))
    return Reference(row.name, tuple(row.facts["stations"]), amplitude_db=table[:, len(FIGURES) :], **columns, **facts)
