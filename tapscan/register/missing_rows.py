"""Rows that were deleted from a register by another program.

rows_of(screening)            how many rows it takes, to be kept with it
missing_rows(connection)      sentences, each with the name of its scan
uncounted(connection)         rows of the scans that count and of whose reading that number is not kept: an older tapscan stored it
lost_files(files, given)      names of a scan's recordings that are not among its files

Rows of one scan or screening have positions from 0 on without a gap.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, Row, Table, func, select

from tapscan.clock import with_zone
from tapscan.records import Recording, Screening
from tapscan.register import tables as t
from tapscan.register.entries import KeptFile
from tapscan.register.names import scan_name
from tapscan.wording import listed

COUNTED = "rows"  # in a screening's `more`
WORDS = {t.recording: "recordings", t.strike: "taps", t.mode: "tones (modes)", t.indication: "findings"}
COMPARISON = "comparison"
RESTORE = "restore a backup"


def rows_of(screening: Screening) -> dict[str, int]:
    """By table."""
    scan = screening.scan
    parts = (scan.recordings, scan.strikes, scan.modes, screening.indications)
    counts = {table.name: len(rows) for table, rows in zip(WORDS, parts, strict=True)}
    return {**counts, COMPARISON: int(screening.comparison is not None)}


def lost_files(files: Sequence[KeptFile], given: Sequence[Recording]) -> list[str]:
    """Told by their content."""
    held = {file.sha256 for file in files}
    return [r.file for r in given if r.sha256 not in held]


def missing_rows(connection: Connection) -> list[str]:
    """Of a reading whose recordings do not agree with the scan's files it is told once."""
    screenings = connection.execute(_screenings()).fetchall()
    apart = dict(_recordings_apart(connection, screenings))
    agreeing = [s for s in screenings if s.row not in apart]
    return [
        *apart.values(),
        *_gaps(connection, t.recording, agreeing),
        *(line for table in WORDS if table is not t.recording for line in _gaps(connection, table, screenings)),
        *_bars(connection),
        *_no_comparison(connection, screenings),
        *_no_finding(connection, screenings),
        *_no_taps(connection, screenings),
        *_no_owner(connection),
    ]


def uncounted(connection: Connection, *, crossed_out: bool = False) -> set[int]:
    """By the reading that counts. What an older reading had cannot be told any more: only a new one is counted. `crossed_out` : of those scans instead."""
    newest = {row.scan_id: row for row in connection.execute(_screenings()) if (row.void_on is not None) == crossed_out}
    return {scan for scan, row in newest.items() if _counts(row) is None}


def _screenings() -> Any:
    s, scan = t.screening.c, t.scan.c
    named = (t.plate.c.name, scan.date, scan.number.label("of_day"), scan.reading, scan.void_on)
    query = select(s.row, s.scan_id, s.number, s.disposition, s.more, *named)
    return query.select_from(t.screening.join(t.scan).join(t.plate)).order_by(s.scan_id, s.number)


def _counts(screening: Row) -> dict[str, int] | None:
    return (screening.more or {}).get(COUNTED)


def _called(screening: Row) -> str:
    return f"{scan_name(screening.name, screening.date, screening.of_day)} (screening {screening.number})"


def _recordings_apart(connection: Connection, screenings: Sequence[Row]) -> Iterator[tuple[int, str]]:
    """Row of the screening and a sentence. Every screening reads all files of its scan, and no others."""
    held: dict[int, dict[str, str]] = defaultdict(dict)
    for row in connection.execute(select(t.scan_file.c.scan_id, t.scan_file.c.sha256, t.scan_file.c.name)):
        held[row.scan_id][row.sha256] = row.name
    read: dict[int, dict[str, str]] = defaultdict(dict)
    for row in connection.execute(select(t.recording.c.screening_id, t.recording.c.sha256, t.recording.c.file)):
        read[row.screening_id][row.sha256] = row.file
    for s in screenings:
        mine, these = held[s.scan_id], read[s.row]
        lost = sorted(these[sha256] for sha256 in these.keys() - mine.keys())
        unread = sorted(mine[sha256] for sha256 in mine.keys() - these.keys())
        if lost and mine:  # without any file: upkeep.py
            yield s.row, f"{_called(s)}: {listed(lost)}, read before, is no longer among its recordings; {RESTORE}"
        elif unread:
            yield s.row, f"{_called(s)}: what was read of its recording {listed(unread)} is gone; {RESTORE}"


def _gaps(connection: Connection, table: Table, screenings: Sequence[Row]) -> Iterator[str]:
    c = table.c
    query = select(c.screening_id, func.count(), func.max(c.position)).group_by(c.screening_id)
    there = {key: (int(count), int(last) + 1) for key, count, last in connection.execute(query)}
    for s in screenings:
        count, expected = there.get(s.row, (0, 0))
        expected = max(expected, (_counts(s) or {}).get(table.name, 0))
        if count < expected:
            yield f"{_called(s)}: {expected - count} of its {expected} {WORDS[table]} are gone; {RESTORE}"


def _bars(connection: Connection) -> Iterator[str]:
    c, scan = t.scan_bar.c, t.scan.c
    named = (t.plate.c.name, scan.date, scan.number)
    query = select(*named, func.count().label("count"), func.max(c.position).label("last"))
    query = query.select_from(t.scan_bar.join(t.scan).join(t.plate)).group_by(*named)
    for row in connection.execute(query):
        if row.count <= row.last:
            yield f"{scan_name(*row[:3])}: a recording of its reference bar is gone; {RESTORE}"


def _no_comparison(connection: Connection, screenings: Sequence[Row]) -> Iterator[str]:
    there = set(connection.execute(select(t.comparison.c.screening_id)).scalars())
    c = t.indication.c
    needed = set(connection.execute(select(c.screening_id).where(c.rule == "change-since-baseline")).scalars())
    for s in screenings:
        if s.row not in there and (s.row in needed or (_counts(s) or {}).get(COMPARISON)):
            yield f"{_called(s)}: its comparison with the baseline is gone; {RESTORE}"


def _no_finding(connection: Connection, screenings: Sequence[Row]) -> Iterator[str]:
    c = t.indication.c
    found = set(connection.execute(select(c.screening_id).where(c.interpretation == "relevant")).scalars())
    for s in screenings:
        if _counts(s) is None and s.disposition == "relevant indication" and s.row not in found:
            yield f"{_called(s)}: the finding that its answer rests on is gone; {RESTORE}"


def _no_taps(connection: Connection, screenings: Sequence[Row]) -> Iterator[str]:
    """A recording without a tap says why, unless the taps were left out or keys were played."""
    r = t.recording.c
    tapped = {tuple(row) for row in connection.execute(select(t.strike.c.screening_id, t.strike.c.recording))}
    silent = defaultdict(list)
    for row in connection.execute(select(r.screening_id, r.id, r.file).where(r.reason.is_(None))):
        if (row.screening_id, row.id) not in tapped:
            silent[row.screening_id].append(row.file)
    for s in screenings:
        told = s.reading or {}
        if _counts(s) is None and not (told.get("skip") or told.get("played")):
            for file in silent[s.row]:
                yield f"{_called(s)}: the taps of its recording {file} are gone; {RESTORE}"


def _no_owner(connection: Connection) -> Iterator[str]:
    """Nothing that tapscan does leaves a file without the scan, bar, plate or visit it was stored for."""
    rows = connection.execute(select(t.file.c.sha256, t.file.c.stored_utc)).fetchall()
    owned: set[str] = set()
    for table in t.metadata.tables.values():
        for column in table.c:
            if column.references(t.file.c.sha256):
                owned.update(connection.execute(select(column).distinct()).scalars())
    for row in rows:
        if row.sha256 not in owned:
            yield f"{row.sha256[:12]}, stored {with_zone(row.stored_utc)}: the scan, bar, plate or visit it belongs to no longer names it; {RESTORE}"
