"""The register as CSV and JSON, for a spreadsheet or another program.

    export_csv(register, folder, said)   one file a table: plates, scans, recordings, strikes, modes, ...; UTF-8 with a mark
    export_json(register, path, stands)  one file: every plate with its scans, current screenings and outcomes; the reference bars
    defused(value)                       text that a spreadsheet would take for a formula gets an apostrophe before it

CSV holds the current screening of each scan; JSON too. What these say by now, after all that came in since, is handed in. Unknown is an empty cell
or null. Written whole or not at all.
"""

import csv
import io
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import IO, Any

from sqlalchemy import Connection, Select, Table, func, select

from tapscan.errors import RegisterProblem
from tapscan.plain_values import SCHEMA
from tapscan.records import Disposition, Screening
from tapscan.register import tables as t
from tapscan.register.bars import list_bars
from tapscan.register.codec import plain
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry
from tapscan.register.names import scan_name
from tapscan.register.plates import list_plates
from tapscan.register.results import read_screening
from tapscan.register.scans import list_scans
from tapscan.register.trouble import plain_words
from tapscan.register.visits import FACTS as VISIT_FACTS
from tapscan.register.visits import OUTCOME, list_visits
from tapscan.register.whole_folder import whole_folder
from tapscan.targets import whole_file

Said = Callable[[ScanEntry], tuple[Disposition, str]]  # disposition and headline by now
Stands = Callable[[ScanEntry, Screening], Screening]  # the screening that is stored, as it stands by now
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
RESULTS = (t.recording, t.strike, t.mode, t.indication)
FILE_ENDINGS = (".json", ".csv")
MENDED = ("void_on", "void_why", "baseline_although", "moves", "taken_back")
HIDDEN = {"screening_id", "position", "more"}


def defused(value: Any) -> Any:
    """Numbers stay numbers; text that begins like a formula, blanks aside, becomes plain text."""
    if isinstance(value, list | dict):
        value = json.dumps(value, ensure_ascii=False)
    if isinstance(value, str) and (value.startswith(FORMULA) or value.lstrip().startswith(FORMULA)):
        return "'" + value
    return value


def export_csv(register: Register, folder: Path, said: Said) -> list[str]:
    """Write into `folder`, which must not exist or be empty. Names of the files. Raises RegisterProblem for a name that is a file's."""
    if folder.suffix.lower() in FILE_ENDINGS:
        raise RegisterProblem(f"{folder}: CSV is a folder of files, one a table; name one without {folder.suffix}")
    folder = folder.resolve()  # a link to an empty folder stays a link
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise RegisterProblem(f"{folder}: is there already and not empty; name a new folder")
    with plain_words(folder), whole_folder(folder) as part:
        _write(part / "plates.csv", _plates(register))
        _write(part / "scans.csv", _scans(register, said))
        _write(part / "checklist.csv", _checklist(register))
        _write(part / "outcomes.csv", _outcomes(register))
        _write(part / "visits.csv", _visits(register))
        _write(part / "visit_looks.csv", _visit_looks(register))
        _write(part / "visit_outcomes.csv", _visit_outcomes(register))
        _write(part / "bars.csv", _bars(register))
        with register.reading() as connection:
            for table in RESULTS:
                _write(part / f"{table.name}s.csv", _results(connection, table))
    return sorted(path.name for path in folder.iterdir())


def _write(path: Path, rows: Iterable[Sequence[Any]]) -> None:
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.writer(file)
        writer.writerows([defused(value) for value in row] for row in rows)


def _plates(register: Register) -> Iterator[Sequence[Any]]:
    yield ("plate", "pattern", "serial", "kind", "mass_kg", "notes", "added_utc", "retired_on", "retired_why", "scans")
    for p, scans, _ in list_plates(register, retired=True):
        yield (p.name, p.pattern, p.serial, p.kind, p.mass_kg, p.notes, p.added_utc, p.retired_on, p.retired_why, scans)


def _scans(register: Register, said: Said) -> Iterator[Sequence[Any]]:
    conditions = (
        "state",
        "supports",
        "air_c",
        "iron_c",
        "iron_end_c",
        "hours_in_room",
        "sensor_kind",
        "sensor_note",
        "sensor_mass_g",
        "sensor_place",
        "hammer",
        "fittings",
    )
    own = ("scan", "plate", "date", "baseline", *conditions, "operator", "layout", "notes", "stored_utc")
    yield (*own, "disposition", "headline", "screenings", "settings_sha256", "tapscan", *MENDED, "played", "bar")
    for e in list_scans(register, void=True):
        sensor = {f"sensor_{name}": value for name, value in plain(e.conditions.sensor).items()}
        known = {**plain(e.conditions), **sensor}
        told = [known[name] for name in conditions]
        now = e.current
        yield (
            *(e.name, e.plate, e.date, "yes" if e.baseline else "no", *told),
            *(e.operator, e.layout, e.notes, e.stored_utc),
            *(*said(e), len(e.screenings), now.settings_sha256, now.tapscan_version),
            *(
                e.void_on,
                e.void_why,
                e.baseline_although,
                plain(e.moves),
                plain(e.taken_back),
                "yes" if e.played else "no",
            ),
            e.bar.name if e.bar else None,
        )


def _checklist(register: Register) -> Iterator[Sequence[Any]]:
    yield ("scan", "item", "answer", "note")
    for e in list_scans(register, void=True):
        yield from ((e.name, f.item, f.answer, f.note) for f in e.checklist)


def _outcomes(register: Register) -> Iterator[Sequence[Any]]:
    yield ("scan", "found", "method", "by_whom", "on", "note", "entered_utc")
    for e in list_scans(register, void=True):
        yield from ((e.name, o.found, o.method, o.by_whom, o.on, o.note, o.entered_utc) for o in e.outcomes)


def _bars(register: Register) -> Iterator[Sequence[Any]]:
    yield ("bar", "notes", "added_utc", "first_scan")
    for b in list_bars(register):
        yield (b.name, b.notes, b.added_utc, b.first_scan)


def _visits(register: Register) -> Iterator[Sequence[Any]]:
    yield ("plate", "date", *VISIT_FACTS, "taken_back", "stored_utc")
    for v in list_visits(register):
        yield (v.plate, v.date, *(getattr(v, name) for name in VISIT_FACTS), plain(v.taken_back), v.stored_utc)


def _visit_looks(register: Register) -> Iterator[Sequence[Any]]:
    yield ("plate", "date", "region", "answer", "signs", "note", "photos")
    for v in list_visits(register):
        for look in v.looks:
            photos = [f.name for f in look.photos]
            yield (v.plate, v.date, look.region, look.answer, list(look.signs), look.note, photos)


def _visit_outcomes(register: Register) -> Iterator[Sequence[Any]]:
    yield ("plate", "date", "region", *OUTCOME)
    for v in list_visits(register):
        for look in v.looks:
            yield from ((v.plate, v.date, look.region, *(getattr(o, name) for name in OUTCOME)) for o in look.outcomes)


def _results(connection: Connection, table: Table) -> Iterator[Sequence[Any]]:
    columns = [column for column in table.columns if column.name not in HIDDEN]
    yield ("scan", *(column.name for column in columns))
    for row in connection.execute(_current(table, columns)).yield_per(1000):
        yield (scan_name(row[0], row[1], row[2]), *row[3:])


def _current(table: Table, columns: Sequence[Any]) -> Select[Any]:
    """Rows of the screening that counts, in the order of scans."""
    newest = select(func.max(t.screening.c.row)).group_by(t.screening.c.scan_id)
    joined = table.join(t.screening, t.screening.c.row == table.c.screening_id).join(t.scan).join(t.plate)
    query = select(t.plate.c.name, t.scan.c.date, t.scan.c.number, *columns).select_from(joined)
    order = (t.plate.c.name_key, t.scan.c.date, t.scan.c.number, table.c.position)
    return query.where(t.screening.c.row.in_(newest)).order_by(*order)


def export_json(register: Register, path: Path, stands: Stands) -> None:
    """Written plate by plate, so that a large register needs little memory."""
    if path.is_dir():
        raise RegisterProblem(
            f"{path}: is a folder; JSON is one file: name a new one, such as {path / 'register.json'}"
        )
    with plain_words(path), whole_file(path) as file, io.TextIOWrapper(file, "utf-8", newline="\n") as text:
        _write_json(register, text, stands)


def _write_json(register: Register, file: IO[str], stands: Stands) -> None:
    file.write(f'{{"schema": {SCHEMA}, "plates": [')
    for i, (plate, _, _) in enumerate(list_plates(register, retired=True)):
        scans = list_scans(register, plate.name, void=True)
        with register.reading() as connection:
            stored = [read_screening(connection, entry.current.id) for entry in scans]
        told = [_scan_json(e, stands(e, s)) for e, s in zip(scans, stored, strict=True)]
        visits = [_plain(v) for v in list_visits(register, plate.name)]
        document = {**_plain(plate), "visits": visits, "scans": told}
        file.write((",\n" if i else "\n") + json.dumps(document, ensure_ascii=False, allow_nan=False, default=str))
    bars = json.dumps([_plain(b) for b in list_bars(register)], ensure_ascii=False, allow_nan=False, default=str)
    file.write(f'\n], "bars": {bars}}}\n')


def _scan_json(entry: ScanEntry, result: Screening) -> dict[str, Any]:
    screening = plain(result)
    screening["scan"].pop("map")  # the drawing of the layout; its name and places stay
    return {**_plain(entry), "screening": screening}


def _plain(record: Any) -> dict[str, Any]:
    return {name: value for name, value in plain(record).items() if name != "id"}
