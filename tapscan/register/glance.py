"""Every plate of the register in a line, and every scan in one: what was said of it last, whether it has a baseline, what was found later.

glance(register)             Glance after Glance, by name; a handful of queries, however many plates
scan_lines(register, plate)  ScanLine after ScanLine, oldest first, those crossed out too; two queries
"""

import datetime as dt
from collections.abc import Collection
from typing import Any

from msgspec import Struct
from sqlalchemy import Connection, Row, Select, case, func, select, union_all

from tapscan.places import IN_PIANO, State
from tapscan.records import Disposition
from tapscan.register import tables as t
from tapscan.register.codec import record_of
from tapscan.register.database import Register
from tapscan.register.entries import Outcome, ScanLine, crossed_out_words
from tapscan.register.names import scan_name
from tapscan.register.on_record import counts_now, put_right
from tapscan.register.plates import plate_row


class Glance(Struct, frozen=True):
    """One plate; scans that were crossed out do not count."""

    plate: str
    pattern: str | None
    serial: str | None
    retired_on: dt.date | None
    scans: int = 0
    baselines: int = 0
    scan: str | None = None  # the newest, PLATE/DATE[-n]
    date: dt.date | None = None  # of it
    disposition: Disposition | None = None
    headline: str | None = None  # what tapscan said of it
    outcome: Outcome | None = None  # the newest on any scan of the plate
    unfinished: int = 0  # recordings begun and not ended
    played: bool = False  # the newest scan is of played notes
    found_on: dt.date | None = None  # the newest scan in which something was found
    next_steps: tuple[str, ...] = ()  # of the newest, as they were stored
    state: State | None = None  # of the plate, at the newest
    flawed: bool = False  # an examination noted with a scan found a flaw
    loud: bool = False  # a scan of it said something else than that nothing was found, was read in another state than it is known to have been in, or the plate went into its piano since


def scan_lines(register: Register, plate_name: str | None = None) -> list[ScanLine]:
    """Of one plate, or of all, by plate and day."""
    made, s = t.screening.c, t.scan.c
    last = select(made.scan_id, func.max(made.number).label("number")).group_by(made.scan_id).subquery()
    scans = (
        select(t.plate.c.name, s.row, s.date, s.number, s.state, s.baseline, s.baseline_although, s.void_on, s.void_why)
        .add_columns(made.headline)
        .select_from(t.scan.join(t.plate).join(last, last.c.scan_id == s.row))
        .join(t.screening, (made.scan_id == s.row) & (made.number == last.c.number))
    )
    came = select(t.outcome).join(t.scan).order_by(t.outcome.c.on, t.outcome.c.row)
    with register.reading() as connection:
        mine = [] if plate_name is None else [s.plate_id == plate_row(connection, plate_name).row]
        rows = connection.execute(scans.where(*mine).order_by(t.plate.c.name_key, s.date, s.number)).fetchall()
        outcomes: dict[int, list[Outcome]] = {}
        for row in connection.execute(came.where(*mine)):
            outcomes.setdefault(row.scan_id, []).append(record_of(Outcome, row._mapping))
    return [_scan_line(row, tuple(outcomes.get(row.row, ()))) for row in rows]


def _scan_line(row: Row, outcomes: tuple[Outcome, ...]) -> ScanLine:
    name, _, date, number, state, baseline, although, void_on, void_why, headline = row
    crossed_out = crossed_out_words(void_on, void_why)
    return ScanLine(scan_name(name, date, number), state, headline, baseline, although, crossed_out, outcomes)


def glance(register: Register, quiet: Collection[str] = (), *, retired: bool = False) -> list[Glance]:
    """`quiet` : headlines of scans that found nothing; `retired` : those too."""
    with register.reading() as connection:
        plates = connection.execute(select(t.plate).order_by(t.plate.c.name_key)).fetchall()
        newest = {row.plate_id: row for row in connection.execute(_newest())}
        counts = {row.plate_id: row for row in connection.execute(_counts())}
        outcomes, flawed = _outcomes(connection)
        begun = {row.plate_id: row.begun for row in connection.execute(_begun())}
        found = {row.plate_id: row for row in connection.execute(_found(quiet))}
        inside = {row.plate_id: row.day for row in connection.execute(_in_piano())}
    every = [p for p in plates if retired or p.retired_on is None]
    return [
        _line(
            p,
            counts.get(p.row),
            newest.get(p.row),
            {
                "outcome": outcomes.get(p.row),
                "unfinished": begun.get(p.row, 0),
                "flawed": p.row in flawed,
                **_last_found(found.get(p.row), _went_in(newest.get(p.row), inside.get(p.row))),
            },
        )
        for p in every
    ]


def _line(plate: Row, count: Row | None, scan: Row | None, more: dict[str, Any]) -> Glance:
    facts = (plate.name, plate.pattern, plate.serial, plate.retired_on)
    if count is None or scan is None:
        return Glance(*facts, **more)
    return Glance(
        *facts,
        count.scans,
        count.baselines,
        scan_name(plate.name, scan.date, scan.number),
        scan.date,
        scan.disposition,
        scan.headline,
        played=bool((scan.reading or {}).get("played")),
        next_steps=tuple(scan.next_steps or ()),
        state=scan.state,
        **more,
    )


def _counts() -> Select[Any]:
    baselines = func.sum(case((t.scan.c.baseline, 1), else_=0)).label("baselines")
    counted = select(t.scan.c.plate_id, func.count().label("scans"), baselines)
    return counted.where(t.scan.c.void_on.is_(None)).group_by(t.scan.c.plate_id)


def _newest() -> Select[Any]:
    """The newest scan of each plate, with the screening that counts."""
    back = func.row_number().over(
        partition_by=t.scan.c.plate_id, order_by=(t.scan.c.date.desc(), t.scan.c.number.desc())
    )
    ranked = select(t.scan.c.row, back.label("back")).where(t.scan.c.void_on.is_(None)).subquery()
    s, made = t.scan.c, t.screening.c
    return (
        select(s.plate_id, s.date, s.number, s.reading, s.state, made.disposition, made.headline, made.next_steps)
        .select_from(t.scan.join(ranked, ranked.c.row == s.row).join(t.screening))
        .where(ranked.c.back == 1, counts_now())
    )


def _outcomes(connection: Connection) -> tuple[dict[int, Outcome], set[int]]:
    """The newest by day, then by when it was entered, and plates with a flaw; those of scans that were crossed out aside."""
    query = select(t.outcome, t.scan.c.plate_id).join(t.scan).where(t.scan.c.void_on.is_(None))
    rows = connection.execute(query.order_by(t.outcome.c.on, t.outcome.c.row))
    every = [(row.plate_id, record_of(Outcome, row._mapping)) for row in rows]
    return dict(every), {plate for plate, outcome in every if outcome.flaw}


def _found(quiet: Collection[str]) -> Select[Any]:
    """Of plates with a scan that said something else than these, or whose state was put right: the day of the newest in which something was found.

    Both in one question, since each has to pass by every screening's long columns.
    """
    made = t.screening.c
    found = (made.disposition == "relevant indication") & counts_now()
    days = select(t.scan.c.plate_id, func.max(case((found, t.scan.c.date), else_=None)).label("day")).join(t.screening)
    loud = made.headline.not_in(list(quiet)) | put_right()
    return days.where(loud, t.scan.c.void_on.is_(None)).group_by(t.scan.c.plate_id)


def _last_found(row: Row | None, went_in: bool) -> dict[str, Any]:
    return {"loud": went_in} if row is None else {"found_on": row.day, "loud": True}


def _in_piano() -> Select[Any]:
    """By plate: the newest day on which a visit, or a scan that was crossed out, found it in its piano."""
    s, v = t.scan.c, t.visit.c
    told = union_all(
        select(v.plate_id, v.date).where(v.state.in_(IN_PIANO)),
        select(s.plate_id, s.date).where(s.state.in_(IN_PIANO), s.void_on.is_not(None)),
    ).subquery()
    return select(told.c.plate_id, func.max(told.c.date).label("day")).group_by(told.c.plate_id)


def _went_in(scan: Row | None, day: dt.date | None) -> bool:
    """The newest scan's own words are of a plate out of it."""
    return scan is not None and day is not None and scan.state not in IN_PIANO and day >= scan.date


def _begun() -> Select[Any]:
    begun = select(t.unfinished.c.plate_id, func.count().label("begun")).where(t.unfinished.c.ended_how.is_(None))
    return begun.group_by(t.unfinished.c.plate_id)
