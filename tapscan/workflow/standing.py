"""How a stored scan stands now: what was crossed out, moved, seen or found by examination since tapscan read it.

as_it_stands(register, entry, screening, record)   the stored Screening with conclusion and steps that know it; nothing is computed anew
held_already(opened, name)                 what the scan may hold, since it was found before it
in_piano_since(record, state)              where the plate went into its piano since
in_the_piano(lines, state)                 what is to be done there
says(summary, counts)                      whether a summary says what the eye saw, and no more
found_later(record, entry)                 what is open by now and came after the scan
by_what_came_later(record, entry)          the steps that this asks for
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

from tapscan.places import IN_PIANO, State
from tapscan.records import Screening
from tapscan.records.heard import day_of
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry
from tapscan.register.on_record import PlateOnRecord, plate_on_record
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.screening.disposition import NOTES, SEEN_BY_EYE, eye_told
from tapscan.screening.next_steps import may_tap, of_lines, piano_steps
from tapscan.screening.open_findings import STILL_OPEN, OpenFinding, up_to_date
from tapscan.screening.past_scan import is_before
from tapscan.screening.step import Step
from tapscan.screening.untold_room import as_heard, left_in
from tapscan.settings import Settings
from tapscan.wording import argument, counted
from tapscan.workflow.conclude import conclude
from tapscan.workflow.eye import seen_that_day
from tapscan.workflow.known_since import ONLY_PICKUPS, as_known, may_be_compared, spared_checks
from tapscan.workflow.still_open import open_findings, plate_steps, record_opened, state_now, unexplained

VOIDED = "Somebody crossed this scan out. Its taps say nothing about the plate."
LISTENED = {"microphone": "a microphone listened", None: "nobody has said that one listened"}
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


def found_later(record: PlateOnRecord, entry: ScanEntry) -> list[OpenFinding]:
    """What is open by now and came after the scan: what is to be done goes by that, too."""
    return _after(record_opened(record), entry)


def _after(opened: Sequence[OpenFinding], entry: ScanEntry) -> list[OpenFinding]:
    return [o for o in opened if is_before(day_of(entry.name), day_of(o.scan))]


def by_what_came_later(record: PlateOnRecord, entry: ScanEntry) -> tuple[Step, ...]:
    """Steps of a suspected plate; none where nothing of it was found after the scan."""
    opened = record_opened(record)
    return plate_steps(opened, state_now(record)) if _after(opened, entry) else ()


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


class Later(Struct, frozen=True):
    """A newer scan."""

    name: str
    told: str  # a sentence


def later(register: Register, entry: ScanEntry) -> tuple[Later, ...]:
    """The newest by taps, the newest of played notes: who has an older sheet in hand must not take it for the last word."""
    newer = [e for e in list_scans(register, entry.plate) if (e.date, e.number) > (entry.date, entry.number)]
    newest = {e.played: e for e in newer}
    record = plate_on_record(register, entry.plate) if newest else None
    return tuple(Later(e.name, _told_of(register, e, record)) for e in newest.values())


def _told_of(register: Register, e: ScanEntry, record: PlateOnRecord | None) -> str:
    says = as_it_stands(register, e, load_screening(register, e.current.id), record)
    return f"There is a later scan of this plate, of {e.date.isoformat()}. It says: {says.headline}."


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
