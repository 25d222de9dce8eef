"""Scans as a list has them: with what their own pages say by now, also where something was crossed out, moved, seen or added since.

scan_lines(register, plate)     ScanLine after ScanLine, by plate and day, those crossed out too
lines_of(register, entries)     the same of entries of one plate that were read already
headings(register, plate)       Heading by name of the scan, of those that say something else than when they were read
heading_now(register, record, scan)   of one scan
QUIET                           headlines of scans that found nothing

Only plates on which something is noted are looked at, and only a scan whose words no longer fit is read whole.
"""

from collections.abc import Sequence

from msgspec import Struct
from msgspec.structs import replace

from tapscan.places import State
from tapscan.records import Disposition, Screening
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry, ScanLine
from tapscan.register.glance import scan_lines as stored_lines
from tapscan.register.on_record import PlateOnRecord, ScanOnRecord, on_record, plate_on_record
from tapscan.register.results import load_screening
from tapscan.screening import disposition as d
from tapscan.screening import played_notes
from tapscan.screening.next_steps import may_tap
from tapscan.screening.open_findings import EXAMINED, OpenFinding, beside, same_heading
from tapscan.settings import Settings
from tapscan.workflow.conclude import conclude
from tapscan.workflow.eye import seen_that_day
from tapscan.workflow.known_since import spared_checks
from tapscan.workflow.standing import in_piano_since, in_the_piano, says
from tapscan.workflow.still_open import opened_of, past_of, unexplained

QUIET: tuple[str, ...] = (
    d.NOTHING,
    d.ALONE,
    d.REPEAT,
    d.BUZZED,
    d.BUZZED_AGAIN,
    d.SMALL,
    d.UNDECIDED,
    d.SAME_AFTER_JOB,
    d.SAME_AFTER_SEASONS,
    played_notes.SILENT,
    played_notes.NO_ANSWER,
)


class Heading(Struct, frozen=True):
    """What a scan says, in its shortest form."""

    headline: str
    disposition: Disposition
    next_steps: tuple[str, ...] | None = None  # None: those that are stored stand


MOST_KNOWN = 5000
_KNOWN: dict[tuple[object, ...], Heading] = {}  # what was concluded anew, by all that it follows from


def scan_lines(register: Register, plate_name: str | None = None) -> list[ScanLine]:
    """Of one plate, or of all."""
    return _as_they_stand(stored_lines(register, plate_name), headings(register, plate_name))


def lines_of(register: Register, entries: Sequence[ScanEntry]) -> list[ScanLine]:
    """`entries` : of one plate."""
    told = headings(register, entries[0].plate) if entries else {}
    return _as_they_stand([e.line for e in entries], told)


def _as_they_stand(lines: Sequence[ScanLine], told: dict[str, Heading]) -> list[ScanLine]:
    return [replace(e, headline=told[e.name].headline) if e.name in told else e for e in lines]


def headings(
    register: Register, plate_name: str | None = None, record: PlateOnRecord | None = None
) -> dict[str, Heading]:
    """Of one plate, or of all; `record` : of the plate, where it was read already."""
    if plate_name is None:
        records = list(on_record(register, QUIET).values())
    else:
        records = [record or plate_on_record(register, plate_name)]
    every = [(s, heading_now(register, record, s)) for record in records for s in record.scans]
    return {s.name: now for s, now in every if (now.headline, now.disposition) != (s.headline, s.disposition)}


def heading_now(register: Register, record: PlateOnRecord, scan: ScanOnRecord) -> Heading:
    """As `as_it_stands` gives it."""
    opened = opened_of(record, (scan.date, scan.number), past_of(scan, record), scan, scan.state)
    shown = beside(opened, scan.relevant)
    own = () if scan.flaws else unexplained(scan, record.every)
    eye, iron = seen_that_day(record, scan.date, own)
    newest = scan.id == record.scans[-1].id  # of older ones no list tells the steps
    since = in_piano_since(record, scan.state) if newest else None
    counts = iron if may_tap(scan.state) else eye
    if since is None and scan.state == scan.read_in and says(scan.summary, counts):
        if same_heading(scan.summary, shown):
            return Heading(scan.headline, scan.disposition)
        if _flaw_alone(scan, shown):
            return Heading(d.CONFIRMED, scan.disposition)
    # another back-up may lie there by now
    key = (
        *(register.told, scan.screening_id, scan.name, scan.summary, bool(scan.flaws)),
        *(opened, eye, iron, scan.state, since),
    )
    if key not in _KNOWN:
        if len(_KNOWN) >= MOST_KNOWN:
            _KNOWN.clear()
        _KNOWN[key] = _anew(load_screening(register, scan.screening_id), scan, since, (opened, eye, iron))
    return _KNOWN[key]


def _anew(
    read: Screening,
    scan: ScanOnRecord,
    since: State | None,
    known: tuple[Sequence[OpenFinding], Sequence[str], Sequence[str]],
) -> Heading:
    def now_in(state: State | None) -> Screening:
        there = replace(read, scan=replace(read.scan, state=state))
        unread = spared_checks(scan.read_in, scan.state)
        return conclude(there, Settings(), *known, examined=bool(scan.flaws), unread=unread)

    now = now_in(scan.state)
    steps = in_the_piano(now_in(since).next_steps, since) if since else now.next_steps
    return Heading(now.headline, now.disposition, steps)


def _flaw_alone(scan: ScanOnRecord, opened: Sequence[OpenFinding]) -> bool:
    """Whether that an examination found a flaw is all that is new: then its headline is known without reading the scan."""
    if scan.played or scan.headline.startswith((d.DOUBTFUL, d.PART_ONLY)):
        return False
    flawed = any(o.rule == EXAMINED for o in opened)
    return flawed and same_heading(scan.summary, [o for o in opened if o.rule != EXAMINED])
