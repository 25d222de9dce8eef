"""Scans: how they were made, what was seen, which are the baseline, what came out later.

store_scan(register, plate, new, screening, files, pictures)   ScanEntry; every row in one transaction
find_scan(register, name)                   one ScanEntry
list_scans(register, plate, void)           ScanEntry after ScanEntry, oldest first; those crossed out only with `void`
scans_with_bar(register, bar_id, newest)    those for which a reference bar was struck
edit_scan(register, name, change)           ScanEntry after the change
add_screening(register, name, new, ...)     a further screening; the earlier ones stay
set_baseline(register, plate, names)        these scans, and no others
add_outcome(register, name, outcome)        what a later examination found
scans_holding(register, hashes)             names of the scans that hold one of these recordings
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from msgspec.structs import replace
from sqlalchemy import Connection, Row, Select, case, func, select

from tapscan.errors import BadRequest, UnknownName
from tapscan.places import CHECKLIST
from tapscan.records import ScanConditions
from tapscan.register import tables as t
from tapscan.register.bar_files import BARS, keep_with, kept_bar
from tapscan.register.codec import plain, record_of, row_of
from tapscan.register.database import Register, utc_now
from tapscan.register.entries import (
    Finding,
    KeptFile,
    Move,
    NewScan,
    NewScreening,
    Outcome,
    ScanEntry,
    ScreeningEntry,
    TakenBack,
)
from tapscan.register.names import SCAN_NAME, name_key, scan_name, split_scan_name
from tapscan.register.numbers import next_number
from tapscan.register.outcomes import sound_outcome
from tapscan.register.plates import find_plate, note_file, plate_row
from tapscan.register.results import store_screening
from tapscan.register.taken_back import list_kept, of_list
from tapscan.sensors import Sensor
from tapscan.wording import argument

SENSOR = "sensor_"  # before the names of a sensor's fields, in the columns of a scan


def store_scan(
    register: Register,
    plate_name: str,
    new: NewScan,
    screening: NewScreening,
    files: Sequence[KeptFile],
    pictures: KeptFile | None = None,
    *,
    again: bool = False,
) -> ScanEntry:
    """`files` and `pictures` lie in the folder already. All rows are stored, or none.

    Raises BadRequest when one of the recordings belongs to a stored scan, unless `again`.
    """
    plate = find_plate(register, plate_name, exact=True)
    with register.writing() as connection:
        if not again and (twins := _holding(connection, [f.sha256 for f in files])):
            raise BadRequest(f"already stored as {', '.join(twins)}: the same recording; nothing was stored")
        number = next_number(connection, plate, new.date)
        scan_id = _insert_scan(connection, plate.id, number, new)
        for position, file in enumerate(files):
            note_file(connection, file)
            row = {"scan_id": scan_id, "position": position, "sha256": file.sha256, "name": file.name}
            connection.execute(t.scan_file.insert().values(plain(row)))
        _write_checklist(connection, scan_id, new.checklist)
        name = scan_name(plate.name, new.date, number)
        keep_with(connection, scan_id, name, new.bar, screening.screening.scan.bar)
        store_screening(connection, scan_id, 1, screening, pictures)
    return find_scan(register, scan_name(plate.name, new.date, number))


def _insert_scan(connection: Connection, plate_id: int | None, number: int, new: NewScan) -> int:
    values = {
        **_conditions_row(new.conditions),
        "plate_id": plate_id,
        "date": new.date,
        "number": number,
        "baseline": new.baseline,
        "operator": new.operator,
        "notes": new.notes,
        "stored_utc": utc_now(),
        "reading": new.reading,
        "baseline_although": new.baseline_although,
    }
    key = connection.execute(t.scan.insert().values(plain(values))).inserted_primary_key
    assert key is not None
    return int(key[0])


def _write_checklist(connection: Connection, scan_id: int, findings: Sequence[Finding]) -> None:
    connection.execute(t.checklist.delete().where(t.checklist.c.scan_id == scan_id))
    for f in findings:
        row = {"scan_id": scan_id, "item": f.item, "answer": f.answer, "note": f.note}
        connection.execute(t.checklist.insert().values(plain(row)))


def find_scan(register: Register, name: str) -> ScanEntry:
    """Raises UnknownName and lists the plate's scans."""
    plate_name, date, number = split_scan_name(name)
    with register.reading() as connection:
        plate = plate_row(connection, plate_name)
        where = (t.scan.c.plate_id == plate.row, t.scan.c.date == date, t.scan.c.number == number)
        row = connection.execute(_scans().where(*where)).first()
        if row is not None:
            return _entries(connection, [row])[0]
        others = connection.execute(_scans().where(t.scan.c.plate_id == plate.row)).fetchall()
    names = ", ".join(scan_name(plate.name, r.date, r.number) for r in others[-8:])
    raise UnknownName(f"there is no scan {name!r}; " + (f"there is {names}" if names else f"{plate.name} has none yet"))


def newest_scan(register: Register, plate_name: str) -> ScanEntry:
    """Of the plate, those crossed out aside; raises UnknownName where it has none."""
    scans = list_scans(register, plate_name)
    if not scans:
        raise UnknownName(f"{plate_name!r} has no scan yet")
    return max(scans, key=lambda s: (s.date, s.number))


def scan_or_newest(register: Register, name: str) -> ScanEntry:
    """The scan of that name, or the newest one of the plate of that name."""
    return find_scan(register, name) if SCAN_NAME.fullmatch(name.strip()) else newest_scan(register, name)


def list_scans(register: Register, plate_name: str | None = None, *, void: bool = False) -> list[ScanEntry]:
    """Of one plate, or of all, by plate and day.

    void : those crossed out too, to show them; nothing is ever compared with one
    """
    query = _scans() if void else _scans().where(t.scan.c.void_on.is_(None))
    with register.reading() as connection:
        if plate_name is not None:
            query = query.where(t.scan.c.plate_id == plate_row(connection, plate_name).row)
        return _entries(connection, connection.execute(query).fetchall())


def scans_with_bar(register: Register, bar_id: int, newest: int | None = None) -> list[ScanEntry]:
    """For which that reference bar was struck, by day, or the newest so many; those crossed out aside."""
    struck = select(t.scan_bar.c.scan_id).where(t.scan_bar.c.bar_id == bar_id)
    query = _scans().where(t.scan.c.void_on.is_(None), t.scan.c.row.in_(struck))
    query = query.order_by(None).order_by(t.scan.c.date.desc(), t.scan.c.stored_utc.desc()).limit(newest)
    with register.reading() as connection:
        entries = _entries(connection, connection.execute(query).fetchall())
    return entries[::-1]


def edit_scan(
    register: Register, name: str, change: Callable[[ScanEntry], ScanEntry], mistake: str | None = None
) -> ScanEntry:
    """`change` gives the entry as it should be: conditions, operator, notes, baseline or checklist.

    mistake : why what may be a crack had been noted though it was never there; without it that is not taken away
    """
    with register.writing() as connection:
        before = find_scan(register, name)  # as it is now: nobody else writes meanwhile
        after = change(before)
        seen = list_kept(before.checklist, after.checklist, mistake)
        values: dict[str, Any] = {
            **_conditions_row(after.conditions),
            "operator": after.operator,
            "notes": after.notes,
            "baseline": after.baseline,
            "taken_back": [*before.taken_back, *of_list(before, seen, mistake)] or None,
        }
        connection.execute(t.scan.update().where(t.scan.c.row == before.id).values(plain(values)))
        _write_checklist(connection, before.id, seen)
    return find_scan(register, before.name)


def add_screening(
    register: Register,
    name: str,
    new: NewScreening,
    pictures: KeptFile | None = None,
    reading: Mapping[str, Any] | None = None,
) -> ScanEntry:
    """The new screening counts from now on; the earlier ones are kept. `reading`: how recordings are read from now on, where that changed."""
    entry = find_scan(register, name)
    with register.writing() as connection:
        last = select(func.max(t.screening.c.number)).where(t.screening.c.scan_id == entry.id)
        number = (connection.execute(last).scalar() or 0) + 1
        store_screening(connection, entry.id, number, new, pictures)
        if reading is not None:
            connection.execute(t.scan.update().where(t.scan.c.row == entry.id).values(reading=dict(reading)))
    return find_scan(register, entry.name)


def set_baseline(
    register: Register, plate_name: str, names: Sequence[str], although: str | None = None
) -> list[ScanEntry]:
    """`although`: why, where something speaks against one of them; without it those that are baseline keep their reason. Raises BadRequest for a scan of another plate or one crossed out."""
    plate = find_plate(register, plate_name, exact=True)
    chosen = [find_scan(register, name) for name in names]
    if strangers := [e.name for e in chosen if name_key(e.plate) != name_key(plate.name)]:
        raise BadRequest(f"{', '.join(strangers)}: not a scan of {plate.name}; a plate is compared with its own scans")
    for e in chosen:
        if e.played:
            raise BadRequest(f"{e.name} is of played notes, which are no baseline: later scans are compared by taps")
    with register.writing() as connection:
        for e in chosen:
            not_crossed_out(find_scan(register, e.name))  # nor moved meanwhile
        of_plate, these = t.scan.c.plate_id == plate.id, t.scan.c.row.in_([e.id for e in chosen])
        reason = although or case((t.scan.c.baseline, t.scan.c.baseline_although))
        connection.execute(t.scan.update().where(these).values(baseline_although=reason))
        connection.execute(t.scan.update().where(of_plate).values(baseline=False))
        connection.execute(t.scan.update().where(these).values(baseline=True))
    return [find_scan(register, e.name) for e in chosen]


def not_crossed_out(entry: ScanEntry) -> ScanEntry:
    """Raises BadRequest for one that is."""
    if entry.crossed_out:
        raise BadRequest(
            f"{entry.name} is {entry.crossed_out}; `tapscan scan void {argument(entry.name)} --undo` takes that back"
        )
    return entry


def add_outcome(register: Register, name: str, outcome: Outcome) -> ScanEntry:
    """Raises BadRequest as `sound_outcome` does."""
    entry = find_scan(register, name)
    sound_outcome(outcome, entry.date)
    with register.writing() as connection:
        if any(
            replace(o, entered_utc=None) == replace(outcome, entered_utc=None)
            for o in find_scan(register, entry.name).outcomes
        ):
            return entry  # the same words of the same day: told twice, since the first answer was lost
        values = {**row_of(outcome, t.outcome.c.keys()), "scan_id": entry.id, "entered_utc": utc_now()}
        values.pop("more")
        connection.execute(t.outcome.insert().values(values))
    return find_scan(register, entry.name)


def scans_holding(register: Register, hashes: Sequence[str]) -> list[str]:
    """Names of stored scans with one of these recordings."""
    with register.reading() as connection:
        return _holding(connection, hashes)


def _holding(connection: Connection, hashes: Sequence[str]) -> list[str]:
    held = select(t.scan_file.c.scan_id).where(t.scan_file.c.sha256.in_(list(hashes)))
    rows = connection.execute(_scans().where(t.scan.c.row.in_(held))).fetchall()
    return [scan_name(r.plate_name, r.date, r.number) for r in rows]


def _scans() -> Select[Any]:
    query = select(t.scan, t.plate.c.name.label("plate_name")).join(t.plate)
    return query.order_by(t.plate.c.name_key, t.scan.c.date, t.scan.c.number)


def _entries(connection: Connection, rows: Sequence[Row]) -> list[ScanEntry]:
    """A handful of queries, however many scans."""
    ids = {row.row for row in rows}
    whole = len(ids) > 500  # a long list of ids is slower than reading the table
    held = _grouped(
        connection,
        select(t.scan_file, t.file.c.size_bytes).join(t.file).order_by(t.scan_file.c.position),
        t.scan_file,
        ids,
        whole,
    )
    seen = _grouped(connection, select(t.checklist), t.checklist, ids, whole)
    came = _grouped(connection, select(t.outcome).order_by(t.outcome.c.on, t.outcome.c.row), t.outcome, ids, whole)
    bars = _grouped(connection, BARS, t.scan_bar, ids, whole)
    made = _grouped(connection, select(*SCREENING).order_by(t.screening.c.number), t.screening, ids, whole)
    return [
        replace(
            _entry(row, held.get(row.row, []), seen.get(row.row, []), came.get(row.row, []), made[row.row]),
            bar=kept_bar(bars.get(row.row, [])),
        )
        for row in rows
    ]


SCREENING = tuple(
    t.screening.c[name]
    for name in (
        "row",
        "scan_id",
        "number",
        "made_utc",
        "tapscan_version",
        "settings_sha256",
        "disposition",
        "headline",
        "layout",
    )
)


def _grouped(
    connection: Connection, query: Select[Any], table: Any, ids: set[int], whole: bool
) -> dict[int, list[Row]]:
    groups: dict[int, list[Row]] = {}
    for row in connection.execute(query if whole else query.where(table.c.scan_id.in_(ids))):
        groups.setdefault(row.scan_id, []).append(row)
    return groups


def _conditions_row(conditions: ScanConditions) -> dict[str, Any]:
    sensor = {f"{SENSOR}{name}": value for name, value in plain(conditions.sensor).items()}
    return {**row_of(conditions, t.scan.c.keys(), ("sensor",)), **sensor}


def _sensor(row: Row) -> Sensor:
    columns = {name.removeprefix(SENSOR): value for name, value in row._mapping.items() if name.startswith(SENSOR)}
    return record_of(Sensor, columns)


def _entry(row: Row, held: Sequence[Row], seen: Sequence[Row], came: Sequence[Row], made: Sequence[Row]) -> ScanEntry:
    findings = {r.item: Finding(r.item, r.answer, r.note) for r in seen}
    return ScanEntry(
        name=scan_name(row.plate_name, row.date, row.number),
        plate=row.plate_name,
        date=row.date,
        number=row.number,
        conditions=record_of(ScanConditions, row._mapping, sensor=_sensor(row)),
        operator=row.operator,
        notes=row.notes,
        baseline=row.baseline,
        stored_utc=row.stored_utc,
        layout=made[-1].layout,
        reading=row.reading or {},
        checklist=tuple(findings[item] for item in CHECKLIST if item in findings),
        files=tuple(KeptFile(r.sha256, r.size_bytes, r.name) for r in held),
        screenings=tuple(record_of(ScreeningEntry, r._mapping, id=r.row) for r in made),
        outcomes=tuple(record_of(Outcome, r._mapping) for r in came),
        id=row.row,
        void_on=row.void_on,
        void_why=row.void_why,
        baseline_although=row.baseline_although,
        moves=tuple(Move(**move) for move in row.moves or ()),
        taken_back=tuple(TakenBack(**one) for one in row.taken_back or ()),
    )
