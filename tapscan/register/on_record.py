"""What is noted of plates, as far as it decides what is still open and what a list says: light enough for a whole register at once.

on_record(register, quiet, ...)     PlateOnRecord by name of every plate on which something is noted
noted_on_record(register, loud)     the same where it is known already which plates' scans found something or were put right
plate_on_record(register, plate)    of one plate
"""

import datetime as dt
from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

from msgspec import Struct
from sqlalchemy import ColumnElement, Connection, Row, Select, bindparam, exists, select

from tapscan.places import State
from tapscan.records import Disposition, Indication
from tapscan.records.heard import Heard
from tapscan.records.scan import same_place
from tapscan.register import tables as t
from tapscan.register.codec import record_of
from tapscan.register.database import Register
from tapscan.register.entries import Finding, Move, Outcome, later_outcomes
from tapscan.register.heard import beside_of, heard_of
from tapscan.register.names import scan_name
from tapscan.register.plates import plate_row
from tapscan.register.visit_entries import Visit
from tapscan.register.visits import looks_of, visit_of

MOST_NAMED = 500  # plates; a longer list is slower than reading the table


class FoundBefore(Struct, frozen=True):
    """By an earlier reading of a scan's recordings, and not by the one that counts."""

    found: Indication
    settings_sha256: str  # by which it was read
    beside: tuple[str, ...]  # days of the scans that it was held against, DATE[-n]


class ScanOnRecord(Struct, frozen=True):
    """One scan, with the screening that counts."""

    id: int  # row of the scan
    screening_id: int
    name: str  # PLATE/DATE[-n]
    date: dt.date
    number: int
    state: State | None  # as it was made, by what is known now
    read_in: State | None  # as the screening took it
    played: bool
    disposition: Disposition
    headline: str
    summary: str
    next_steps: tuple[str, ...]
    relevant: tuple[Indication, ...]
    outcomes: tuple[Outcome, ...]
    checklist: tuple[Finding, ...]  # what was seen
    not_run: tuple[str, ...]  # rules
    settings_sha256: str
    earlier: tuple[FoundBefore, ...] = ()  # newest first, a rule and place once
    beside: tuple[str, ...] = ()  # days of the scans it was compared with; empty too where nothing is in `earlier`
    moved_on: str | None = None  # day on which it was given to this plate
    crossed_out: bool = False
    heard: Heard | None = None  # None: not asked, since no part is named on this plate and nothing is in `earlier`

    @property
    def flaws(self) -> tuple[Outcome, ...]:
        """Outcomes that count as a flaw."""
        return tuple(o for o in self.outcomes if o.flaw)

    @property
    def settling(self) -> tuple[Outcome, ...]:
        """Outcomes that count."""
        return later_outcomes(self.outcomes, self.date)


class PlateOnRecord(Struct, frozen=True):
    """One plate, oldest first."""

    plate: str
    scans: tuple[ScanOnRecord, ...]  # those that count
    visits: tuple[Visit, ...]  # without photos
    crossed_out: tuple[
        ScanOnRecord, ...
    ] = ()  # their taps say nothing; what the eye saw then, and what was known of the plate, stays

    @property
    def every(self) -> tuple[ScanOnRecord, ...]:
        """Those crossed out too."""
        return tuple(sorted((*self.scans, *self.crossed_out), key=lambda s: (s.date, s.number)))


def on_record(register: Register, quiet: Collection[str]) -> dict[str, PlateOnRecord]:
    """Plates with no more than these are left out.

    quiet : headlines of scans that found nothing by themselves and beside others
    """
    mine = t.scan.c.void_on.is_(None)
    scans = select(t.scan.c.plate_id)
    loud = t.screening.c.headline.not_in(list(quiet)) | put_right()
    said = scans.join(t.screening).where(mine, loud)  # an earlier one, too
    return _noted(register, said, scans.join(t.outcome).where(mine))


def noted_on_record(register: Register, loud: Collection[str]) -> dict[str, PlateOnRecord]:
    """Those by their whole names, and every plate of which somebody saw something."""
    named = [list(loud)[i : i + MOST_NAMED] for i in range(0, len(loud), MOST_NAMED)]
    return _noted(
        register, *(select(t.plate.c.row.label("plate_id")).where(t.plate.c.name.in_(some)) for some in named)
    )


def _noted(register: Register, *asked: Select[Any]) -> dict[str, PlateOnRecord]:
    seen = select(t.scan.c.plate_id).join(t.checklist).where(t.checklist.c.answer == "seen")
    visits = select(t.visit.c.plate_id)
    looked = (visits.join(t.visit_look).where(t.visit_look.c.answer == "note"), visits.join(t.visit_outcome))
    with register.reading() as connection:
        plates = {row.plate_id for query in (*asked, seen, *looked) for row in connection.execute(query.distinct())}
        return {found.plate: found for found in _read(connection, plates)}


def plate_on_record(register: Register, plate_name: str) -> PlateOnRecord:
    """By its whole name."""
    with register.reading() as connection:
        plate = plate_row(connection, plate_name)
        found = _read(connection, {plate.row})
    return found[0] if found else PlateOnRecord(plate.name, (), ())


def put_right() -> ColumnElement[bool]:
    """Of a screening and its scan: the state was put right after it was read."""
    return t.screening.c.state.is_distinct_from(t.scan.c.state)


def counts_now() -> ColumnElement[bool]:
    """Of a screening: none of the same scan was made after it."""
    newer = t.screening.alias()
    after = (newer.c.scan_id == t.screening.c.scan_id) & (newer.c.number > t.screening.c.number)
    return ~exists().where(after)


def _read(connection: Connection, plates: set[int]) -> list[PlateOnRecord]:
    if not plates:
        return []

    outcomes, seen, found, before, scans, visits = (_grouped(connection, one, plates) for one in _queries())
    looks = looks_of(connection, [row.row for rows in visits.values() for row in rows])
    gone = {row: _gone(rows, found.get(row, ())) for row, rows in before.items()}
    read_anew = [r.screening_id for rows in scans.values() for r in rows if gone.get(r.row)]
    heard = heard_of(connection, [*{*_to_hear(scans.values(), outcomes), *read_anew}])
    beside = beside_of(connection, [*read_anew, *(r.screening_id for rows in gone.values() for r in rows)])
    names = {rows[0].plate_id: rows[0].name for rows in (*visits.values(), *scans.values())}
    told = []
    for key, name in names.items():
        every = tuple(
            _scan(r, heard.get(r.screening_id), beside, *(one.get(r.row, ()) for one in (found, gone, outcomes, seen)))
            for r in scans.get(key, ())
        )
        counting, out = (tuple(s for s in every if s.crossed_out is which) for which in (False, True))
        seen_there = tuple(visit_of(r, looks.get(r.row, ())) for r in visits.get(key, ()))
        told.append(PlateOnRecord(name, counting, seen_there, out))
    return told


def _gone(before: Iterable[Row], found: Iterable[Row]) -> list[Row]:
    """Of what earlier readings found, newest first: what the reading that counts has not, each rule and place once."""
    told: list[Row] = []
    for row in before:
        if not any(
            row.rule == one.rule and same_place(row.stations or (), one.stations or ()) for one in (*found, *told)
        ):
            told.append(row)
    return told


def _to_hear(plates: Iterable[Sequence[Row]], outcomes: Mapping[int, Sequence[Row]]) -> list[int]:
    """Screenings of plates on which somebody named a part: only there silence may close a finding."""
    named = {scan for scan, rows in outcomes.items() if any(record_of(Outcome, r._mapping).part for r in rows)}
    return [row.screening_id for rows in plates if any(r.row in named for r in rows) for row in rows]


class _Query(NamedTuple):
    """Rows of many plates, with their `plate_id`, by what; made once, since to make one takes longer than to ask it of a plate."""

    all: Select[Any]
    named: Select[Any]  # of the plates in PLATES
    by: str

    @staticmethod
    def of(query: Select[Any], plate: ColumnElement[int], by: str = "scan_id") -> "_Query":
        return _Query(query, query.where(plate.in_(bindparam(PLATES, expanding=True))), by)


PLATES = "plates"


@lru_cache(maxsize=1)
def _queries() -> tuple[_Query, ...]:
    """Outcomes, what was seen, relevant indications, those of earlier readings, scans and visits."""
    plate = t.scan.c.plate_id
    outcomes = select(t.outcome, plate).join(t.scan).order_by(t.outcome.c.on, t.outcome.c.row)
    seen = select(t.checklist, plate).join(t.scan).where(t.checklist.c.answer == "seen")
    visits = select(t.visit, t.plate.c.name).join(t.plate).order_by(t.visit.c.date)
    return (
        *(_Query.of(query, plate) for query in (outcomes, seen, _relevant(), _relevant(before=True))),
        _Query.of(_scans(), plate, "plate_id"),
        _Query.of(visits, t.visit.c.plate_id, "plate_id"),
    )


def _scans() -> Select[Any]:
    s, made = t.scan.c, t.screening.c
    columns = (s.row, s.plate_id, s.date, s.number, s.state, s.reading, s.moves, s.void_on, t.plate.c.name)
    told = (
        made.row.label("screening_id"),
        made.state.label("read_in"),
        made.disposition,
        made.headline,
        made.summary,
        made.settings_sha256,
    )
    query = select(*columns, *told, made.next_steps, made.rules_not_run).select_from(
        t.scan.join(t.plate).join(t.screening)
    )
    return query.where(counts_now()).order_by(s.date, s.number)


def _relevant(*, before: bool = False) -> Select[Any]:
    """`before` : of readings that count no more."""
    query = select(t.indication, t.screening.c.scan_id, t.screening.c.settings_sha256, t.scan.c.plate_id).select_from(
        t.indication.join(t.screening).join(t.scan)
    )
    which, order = (~counts_now(), (t.screening.c.number.desc(),)) if before else (counts_now(), ())
    return query.where(t.indication.c.interpretation == "relevant", which).order_by(*order, t.indication.c.position)


def _grouped(connection: Connection, query: _Query, plates: set[int]) -> dict[int, list[Row]]:
    groups: dict[int, list[Row]] = {}
    whole = len(plates) > MOST_NAMED
    rows = connection.execute(query.all) if whole else connection.execute(query.named, {PLATES: list(plates)})
    for row in rows:
        if row.plate_id in plates:
            groups.setdefault(getattr(row, query.by), []).append(row)
    return groups


def _scan(
    row: Row,
    heard: Heard | None,
    beside: Mapping[int, tuple[str, ...]],
    found: Iterable[Row],
    gone: Iterable[Row],
    outcomes: Iterable[Row],
    seen: Iterable[Row],
) -> ScanOnRecord:
    moves = [Move(**one) for one in row.moves or ()]
    return ScanOnRecord(
        row.row,
        row.screening_id,
        scan_name(row.name, row.date, row.number),
        row.date,
        row.number,
        row.state,
        row.read_in,
        bool((row.reading or {}).get("played")),
        row.disposition,
        row.headline,
        row.summary,
        tuple(row.next_steps or ()),
        tuple(record_of(Indication, r._mapping) for r in found),
        tuple(record_of(Outcome, r._mapping) for r in outcomes),
        tuple(Finding(r.item, r.answer, r.note) for r in seen),
        tuple(r["rule"] for r in row.rules_not_run or ()),
        row.settings_sha256,
        tuple(
            FoundBefore(record_of(Indication, r._mapping), r.settings_sha256, beside.get(r.screening_id, ()))
            for r in gone
        ),
        beside.get(row.screening_id, ()),
        next((m.on for m in reversed(moves) if m.of_another_plate), None),
        row.void_on is not None,
        heard,
    )
