"""What stands on a scan's first screen beside its conclusion: what people saw, examined or put right, and what came later.

notices(register, entry, stored)           sentences
to_show(register, entry, stored, number)   the Screening to be shown, and its notices; where a reading is asked for by its number, as it was stored and without steps
"""

from msgspec.structs import replace

from tapscan.places import REGIONS
from tapscan.records import Screening
from tapscan.records.scan import same_place
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry
from tapscan.register.on_record import PlateOnRecord, ScanOnRecord, plate_on_record
from tapscan.register.scans import list_scans
from tapscan.report.words import STATES
from tapscan.screening.disposition import SEEN_BY_EYE
from tapscan.screening.open_findings import EYE_RULE, OpenFinding
from tapscan.wording import listed
from tapscan.workflow.eye import seen_that_day
from tapscan.workflow.known_since import apart_by_now, as_known, not_read
from tapscan.workflow.standing import as_it_stands, by_what_came_later, found_later, in_piano_since, no_baseline
from tapscan.workflow.still_open import open_findings

UNREAD = (
    "It has not been read beside the scans of this plate yet: what it says was found at the other plate. Read it anew."
)
UNREAD_THAT_DAY = (
    "It has not been read among the scans of that day yet: what came before it may be another. Read it anew."
)
EARLIER_READING = (
    "This is one reading of the taps, as it was stored. What to do is told with the scan itself, not here."
)
CLOSED = "What that scan had found is closed."
GO_BY_STATE = "What is to be done goes by that."
GO_BY_NOW = "What is to be done goes by what was found since."


def notices(
    register: Register, entry: ScanEntry, screening: Screening, record: PlateOnRecord | None = None
) -> tuple[str, ...]:
    """Most important first. `screening` : as it is stored, and not as it stands; `record` : of the plate, where it was read already."""
    record = record or plate_on_record(register, entry.plate)
    moved = [f"Moved here on {m.on} from {m.before}: {m.why}." for m in entry.moves]
    moved += [UNREAD if entry.unread_from_elsewhere else UNREAD_THAT_DAY] if entry.unread else []
    although = (f"Part of the baseline although something speaks against it: {entry.baseline_although}.",)
    return (
        *((f"{entry.crossed_out[0].upper()}{entry.crossed_out[1:]}.",) if entry.crossed_out else ()),
        *(f"An examination found: {o.told}{f'; {o.note}' if o.note else ''}." for o in entry.outcomes),
        *_examined_before(register, record, entry, screening),
        *_examined_on_visits(record, entry),
        *_found_later(record, entry),
        *_seen_later(record, entry),
        *([] if entry.crossed_out else [*_by_now(record, entry, screening), *not_read(entry, screening)]),
        *_compared(register, entry, screening),
        *entry.by_eye,
        *_seen_on_a_visit(record, entry),
        *(although if entry.baseline_although else ()),
        *((f"It is marked as baseline, but {barred}.",) if entry.baseline and (barred := no_baseline(entry)) else ()),
        *moved,
    )


def _by_now(record: PlateOnRecord, entry: ScanEntry, screening: Screening) -> list[str]:
    """What the plate's other days and the scan's other readings say of it."""
    since = in_piano_since(record, entry.conditions.state)
    told = [f"By now the plate is written down as: {STATES[since]}."] if since else []
    if by_what_came_later(record, entry):
        told.append(GO_BY_NOW)
    elif since:
        told.append(GO_BY_STATE)
    mine = next((s for s in record.scans if s.id == entry.id), None)
    here = {i.sentence for i in screening.indications}
    gone = [e.found.sentence for e in mine.earlier if e.found.sentence not in here] if mine else []
    return [*told, *(f"An earlier reading of these taps had found: {sentence}" for sentence in gone)]


def _examined_before(register: Register, record: PlateOnRecord, entry: ScanEntry, screening: Screening) -> list[str]:
    """What was named with earlier scans; a flaw is told by the conclusion."""
    before = (entry.date, entry.number)
    every = [(s, o) for s in record.every if (s.date, s.number) < before for o in s.settling]
    named = [(s, o) for s, o in every if o.part or o.explains]
    if not named:
        return []
    opened = open_findings(register, entry.plate, before, as_known(entry, screening), entry, record)
    told = []
    for s, o in named:
        left = [one for one in opened if _is_of(one, s)]
        closed = CLOSED if s.relevant and not s.crossed_out else ""
        then = next((one.wants for one in left if one.wants), "") if left else closed
        told.append(f"An examination found, noted with {s.name}: {o.told}. {then}".rstrip())
    return told


def _is_of(opened: OpenFinding, scan: ScanOnRecord) -> bool:
    """Made with that scan, or made again since."""
    again = any(i.rule == opened.rule and same_place(i.stations, opened.places) for i in scan.relevant)
    return opened.scan == scan.name or again


def _examined_on_visits(record: PlateOnRecord, entry: ScanEntry) -> list[str]:
    """Of what a visit of that day saw; of others the flaws alone."""
    told = []
    for v in record.visits:
        first = "An examination found" if v.date <= entry.date else "Found later"
        for look in v.looks:
            said = f"{first}, of what was seen on {v.date.isoformat()} ({REGIONS[look.region]})"
            told += [f"{said}: {o.told}." for o in look.weighed if o.flaw or v.date == entry.date]
    return told


def _found_later(record: PlateOnRecord, entry: ScanEntry) -> list[str]:
    """Flaws that were found after later scans of the plate."""
    later = [s for s in record.scans if (s.date, s.number) > (entry.date, entry.number)]
    return [f"Found later, after {s.name}: {o.told}." for s in later for o in s.flaws]


def _seen_on_a_visit(record: PlateOnRecord, entry: ScanEntry) -> list[str]:
    """Of that day; a visit's sign that may be a crack stands on the scan's page too."""
    seen, _ = seen_that_day(record, entry.date, (), flawed=True)
    return [f"{SEEN_BY_EYE} {listed(seen)}."] if seen else []


def _seen_later(record: PlateOnRecord, entry: ScanEntry) -> list[str]:
    """On visits and scans since, and no examination says what it is."""
    later = found_later(record, entry)
    return [f"Later, on {o.date}: {o.sentence}" for o in later if o.rule == EYE_RULE]


def _compared(register: Register, entry: ScanEntry, screening: Screening) -> list[str]:
    """What is wrong by now with the scans it was compared with."""
    if screening.comparison is None:
        return []
    every = {e.name: e for e in list_scans(register, entry.plate, void=True)}
    told, was = [], screening.comparison.later.rpartition("/")[0]  # the plate's name then
    for name in screening.comparison.baselines:
        plate, _, day = name.rpartition("/")
        earlier = every.get(f"{entry.plate}/{day}" if plate == was and not entry.moves else name)
        if earlier is None or earlier.crossed_out:
            why = "is no scan of this plate any more" if earlier is None else f"was {earlier.crossed_out}"
            told.append(
                f"This scan was compared with {name}, which {why}. The comparison does not count; read the scan anew."
            )
        elif not screening.comparison.rules_not_run and (why := apart_by_now(entry.conditions, earlier.conditions)):
            told.append(f"This scan was compared with {name}. {why} The comparison does not count; read the scan anew.")
        elif earlier.baseline_although:
            told.append(
                f"Compared with {name}, a baseline in which something had been found: {earlier.baseline_although}."
            )
    return told


def to_show(
    register: Register, entry: ScanEntry, stored: Screening, number: int | None
) -> tuple[Screening, tuple[str, ...]]:
    """Steps of former days may ask for what must not be done by now."""
    record = plate_on_record(register, entry.plate)
    said = notices(register, entry, stored, record)
    if number is None:
        return as_it_stands(register, entry, stored, record), said
    return replace(stored, next_steps=()), (EARLIER_READING, *said)
