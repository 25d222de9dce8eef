"""How a stored scan stands now: what was crossed out, moved, seen or found by examination since tapscan read it.

as_it_stands(register, entry, screening, record)   the stored Screening with conclusion and steps that know it; nothing is computed anew
in_piano_since(record, state)              where the plate went into its piano since
in_the_piano(lines, state)                 what is to be done there
says(summary, counts)                      whether a summary says what the eye saw, and no more
to_show(register, entry, stored, number)   the Screening to be shown, and its notices; where a reading is asked for by its number, as it was stored and without steps
notices(register, entry, stored)           sentences for the first screen
later(register, entry)                     what newer scans of the plate say, to stand above all else
registered(entry)                          what people did with it, for JSON
against_baseline(register, entry)          what speaks against comparing later scans with it, unless somebody says why they should be; empty where nothing does
no_baseline(entry)                         why it is none whatever anybody says, and what mends that; None where it may be one
"""

from collections.abc import Sequence
from functools import partial
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from tapscan.places import IN_PIANO, REGIONS, State
from tapscan.records import Screening
from tapscan.records.heard import day_of
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry
from tapscan.register.on_record import PlateOnRecord, plate_on_record
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.report.words import STATES
from tapscan.screening.disposition import NOTES, SEEN_BY_EYE, eye_told
from tapscan.screening.next_steps import may_tap, of_lines, piano_steps
from tapscan.screening.open_findings import EYE_RULE, STILL_OPEN, OpenFinding, up_to_date
from tapscan.screening.past_scan import is_before
from tapscan.screening.step import Step
from tapscan.screening.untold_room import as_heard, left_in
from tapscan.settings import Settings
from tapscan.wording import argument, counted, listed
from tapscan.workflow.conclude import conclude
from tapscan.workflow.eye import seen_that_day
from tapscan.workflow.known_since import ONLY_PICKUPS, apart_by_now, as_known, may_be_compared, not_read, spared_checks
from tapscan.workflow.still_open import open_findings, plate_steps, record_opened, state_now, unexplained

VOIDED = "Somebody crossed this scan out. Its taps say nothing about the plate."
LISTENED = {"microphone": "a microphone listened", None: "nobody has said that one listened"}
UNREAD = (
    "It has not been read beside the scans of this plate yet: what it says was found at the other plate. Read it anew."
)
EARLIER_READING = (
    "This is one reading of the taps, as it was stored. What to do is told with the scan itself, not here."
)
GO_BY_NOW = "What is to be done goes by what was found since."
VOID = "Crossed out: this scan does not count"


def as_it_stands(
    register: Register, entry: ScanEntry, screening: Screening, record: PlateOnRecord | None = None
) -> Screening:
    """Where nothing came in since, exactly what is stored. record : of the plate, where it was read already."""
    if entry.crossed_out:
        said = f"The scan was {entry.crossed_out}. It had said: {screening.headline}. {screening.summary}"
        return replace(screening, disposition="inconclusive", headline=VOID, lead=VOIDED, summary=said, next_steps=())
    record, read = record or plate_on_record(register, entry.plate), screening
    screening = as_known(entry, read)
    opened = open_findings(register, entry.plate, (entry.date, entry.number), screening, entry, record)
    mine = next((s for s in record.scans if s.id == entry.id), None)
    own = () if entry.flaws else unexplained(mine, record.every) if mine else entry.checklist
    eye, iron = seen_that_day(record, entry.date, own)
    counts = iron if may_tap(screening.scan.state) else eye
    stands = screening is read and up_to_date(screening, opened) and says(screening.summary, counts)
    unread = spared_checks(read.scan.state, screening.scan.state)
    by_now = partial(conclude, settings=Settings(), opened=opened, examined=bool(entry.flaws), unread=unread)
    told = screening if stands else by_now(screening, eye=eye, iron=iron)
    if steps := by_what_came_later(record, entry):
        return replace(told, next_steps=tuple(s.line for s in steps))
    if (since := in_piano_since(record, screening.scan.state)) is None:
        return told
    there = by_now(replace(screening, scan=replace(screening.scan, state=since)), eye=eye, iron=iron)
    return replace(told, next_steps=in_the_piano(there.next_steps, since))


def to_show(
    register: Register, entry: ScanEntry, stored: Screening, number: int | None
) -> tuple[Screening, tuple[str, ...]]:
    """Steps of former days may ask for what must not be done by now."""
    said = notices(register, entry, stored)
    if number is None:
        return as_it_stands(register, entry, stored), said
    return replace(stored, next_steps=()), (EARLIER_READING, *said)


def found_later(record: PlateOnRecord, entry: ScanEntry) -> list[OpenFinding]:
    """What is open by now and came after the scan: what is to be done goes by that, too."""
    mine = day_of(entry.name)
    return [o for o in record_opened(record) if is_before(mine, day_of(o.scan))]


def by_what_came_later(record: PlateOnRecord, entry: ScanEntry) -> tuple[Step, ...]:
    """Steps of a suspected plate; none where nothing of it was found after the scan."""
    return plate_steps(record_opened(record), state_now(record)) if found_later(record, entry) else ()


def in_piano_since(record: PlateOnRecord, state: State | None) -> State | None:
    """The plate's state by the newest scan or visit, where it is in its piano and was in `state` out of it: there it is not lifted, and what may be tapped is another matter."""
    now = state_now(record)
    return now if may_tap(state) and now in IN_PIANO else None


def in_the_piano(lines: Sequence[str], state: State) -> tuple[str, ...]:
    """Steps of a scan of a plate that went into its piano since: how to tap better is left out, nobody is sent to tap it there."""
    steps = of_lines(lines) or piano_steps(state, strings=False)
    return tuple(s.line for s in steps)


def says(summary: str, counts: Sequence[str]) -> bool:
    """Whether it says what the eye saw, and no more."""
    own = summary.partition(STILL_OPEN)[0]  # what was seen on an earlier day stands behind it
    return eye_told(counts) in summary if counts else SEEN_BY_EYE not in own


def notices(register: Register, entry: ScanEntry, screening: Screening) -> tuple[str, ...]:
    """Most important first. `screening` : as it is stored, and not as it stands."""
    moved = [f"Moved here on {m.on} from {m.before}: {m.why}." for m in entry.moves]
    moved += [UNREAD] if entry.unread else []
    although = (f"Part of the baseline although something speaks against it: {entry.baseline_although}.",)
    return (
        *((f"{entry.crossed_out[0].upper()}{entry.crossed_out[1:]}.",) if entry.crossed_out else ()),
        *(f"An examination found: {o.told}{f'; {o.note}' if o.note else ''}." for o in entry.outcomes),
        *_examined_before(register, entry, screening),
        *_examined_on_visits(register, entry),
        *_found_later(register, entry),
        *([] if entry.crossed_out else [*_by_now(register, entry, screening), *not_read(entry, screening)]),
        *_compared(register, entry, screening),
        *entry.by_eye,
        *_seen_on_a_visit(register, entry),
        *_seen_later(register, entry),
        *(although if entry.baseline_although else ()),
        *((f"It is marked as baseline, but {barred}.",) if entry.baseline and (barred := no_baseline(entry)) else ()),
        *moved,
    )


class Later(Struct, frozen=True):
    """A newer scan."""

    name: str
    told: str  # a sentence


def later(register: Register, entry: ScanEntry) -> tuple[Later, ...]:
    """The newest by taps, the newest of played notes: who has an older sheet in hand must not take it for the last word."""
    newer = [e for e in list_scans(register, entry.plate) if (e.date, e.number) > (entry.date, entry.number)]
    newest = {e.played: e for e in newer}
    return tuple(Later(e.name, _told_of(register, e)) for e in newest.values())


def _by_now(register: Register, entry: ScanEntry, screening: Screening) -> list[str]:
    """What the plate's other days and the scan's other readings say of it."""
    record = plate_on_record(register, entry.plate)
    since = in_piano_since(record, entry.conditions.state)
    told = [f"By now the plate is written down as: {STATES[since]}. The steps go by that."] if since else []
    told += [GO_BY_NOW] if by_what_came_later(record, entry) else []
    mine = next((s for s in record.scans if s.id == entry.id), None)
    here = {i.sentence for i in screening.indications}
    gone = [e.found.sentence for e in mine.earlier if e.found.sentence not in here] if mine else []
    return [*told, *(f"An earlier reading of these taps had found: {sentence}" for sentence in gone)]


def _told_of(register: Register, e: ScanEntry) -> str:
    says = as_it_stands(register, e, load_screening(register, e.current.id))
    return f"There is a later scan of this plate, of {e.date.isoformat()}. It says: {says.headline}."


def _seen_on_a_visit(register: Register, entry: ScanEntry) -> list[str]:
    """Of that day; a visit's sign that may be a crack stands on the scan's page too."""
    seen, _ = seen_that_day(plate_on_record(register, entry.plate), entry.date, (), flawed=True)
    return [f"{SEEN_BY_EYE} {listed(seen)}."] if seen else []


def _examined_before(register: Register, entry: ScanEntry, screening: Screening) -> list[str]:
    """What was named with earlier scans; a flaw is told by the conclusion."""
    record = plate_on_record(register, entry.plate)
    before = (entry.date, entry.number)
    opened = {o.scan for o in open_findings(register, entry.plate, before, as_known(entry, screening), entry, record)}
    told = []
    for s in record.every:
        named = [o for o in s.settling if o.part or o.explains] if (s.date, s.number) < before else []
        closed = " What that scan had found is closed." if s.relevant and s.name not in opened else ""
        told += [f"An examination found, noted with {s.name}: {o.told}.{closed}" for o in named]
    return told


def _seen_later(register: Register, entry: ScanEntry) -> list[str]:
    """On visits and scans since, and no examination says what it is."""
    later = found_later(plate_on_record(register, entry.plate), entry)
    return [f"Later, on {o.date}: {o.sentence}" for o in later if o.rule == EYE_RULE]


def _examined_on_visits(register: Register, entry: ScanEntry) -> list[str]:
    """Of what a visit of that day saw; of others the flaws alone."""
    told = []
    for v in plate_on_record(register, entry.plate).visits:
        first = "An examination found" if v.date <= entry.date else "Found later"
        for look in v.looks:
            said = f"{first}, of what was seen on {v.date.isoformat()} ({REGIONS[look.region]})"
            told += [f"{said}: {o.told}." for o in look.weighed if o.flaw or v.date == entry.date]
    return told


def _found_later(register: Register, entry: ScanEntry) -> list[str]:
    """Flaws that were found after later scans of the plate."""
    later = [e for e in list_scans(register, entry.plate) if (e.date, e.number) > (entry.date, entry.number)]
    return [f"Found later, after {e.name}: {o.told}." for e in later for o in e.flaws]


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
                f"This scan was compared with {name}, which {why}. The comparison does not count; screen it again."
            )
        elif not screening.comparison.rules_not_run and (why := apart_by_now(entry.conditions, earlier.conditions)):
            told.append(f"This scan was compared with {name}. {why} The comparison does not count; read the scan anew.")
        elif earlier.baseline_although:
            told.append(
                f"Compared with {name}, a baseline in which something had been found: {earlier.baseline_although}."
            )
    return told


def registered(entry: ScanEntry) -> dict[str, Any]:
    """By the names of ScanEntry."""
    names = (
        "name",
        "void_on",
        "void_why",
        "moves",
        "baseline",
        "baseline_although",
        "checklist",
        "taken_back",
        "outcomes",
    )
    return {name: getattr(entry, name) for name in names}


def against_baseline(register: Register, entry: ScanEntry) -> list[str]:
    """In words."""
    screening = load_screening(register, entry.current.id)
    found = [i for i in screening.indications if i.interpretation == "relevant"]
    told = [f"{counted(len(found), 'relevant finding')}, first: {found[0].sentence.rstrip('.')}"] if found else []
    told += [f"it is doubtful ({d.kind}): {d.sentence.rstrip('.')}" for d in screening.doubts]
    told += [f"an examination found: {o.told}" for o in entry.flaws]
    told += held_already(open_findings(register, entry.plate, (entry.date, entry.number), screening, entry), entry.name)
    room = left_in(as_heard(screening.scan, entry.conditions.sensor))
    return [*told, room] if room and not entry.played else told


def held_already(opened: Sequence[OpenFinding], name: str) -> list[str]:
    """Of `opened` : what a scan of that name may hold, since it was found before it. A loose part that notes showed is no matter of the taps."""
    before = [o for o in opened if o.rule not in NOTES and o.scan != name]
    told = (f"{o.scan}, {o.sentence.partition('. ')[0].rstrip('.')}" for o in before[:1])
    return [f"{counted(len(before), 'earlier finding')} not cleared, first: {one}" for one in told]


def no_baseline(entry: ScanEntry) -> str | None:
    """No reason makes a scan heard that nothing can be compared with; one that is marked would hide that the plate has no baseline."""
    if entry.played or may_be_compared(entry.conditions):
        return None
    listened = LISTENED[entry.conditions.sensor.kind]
    return f"{ONLY_PICKUPS}, and {listened}. Where one did, say so first: `tapscan scan edit {argument(entry.name)} --sensor contact`"
