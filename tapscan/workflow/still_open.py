"""What is still open from a plate's earlier scans, read from the register.

open_findings(register, plate, before, now, entry)   OpenFinding after OpenFinding, newest first
unexamined(opened)                                   whether one of them waits for an examination, or one found a flaw
record_opened(record), opened_of(record, ...)        the same of what was read of the plate already
state_now(record)                                    state of the plate, as it was told last
plate_steps(opened, state)                           what these ask for; empty where nothing is suspected
left_open(register, plate)                           what whoever gets the plate must know, in one line; empty where nothing is open
plainly(register, plate, opened)                     each in plain words, figures apart, with what waits meanwhile
"""

import datetime as dt
from collections.abc import Iterable, Sequence

from msgspec import Struct
from msgspec.structs import replace

from tapscan.places import IN_PIANO, REGIONS, STRUNG, State
from tapscan.records import Disposition, Screening
from tapscan.register.database import Register
from tapscan.register.entries import IN_IRON, Outcome, ScanEntry, in_iron, suspects
from tapscan.register.heard import heard_in
from tapscan.register.on_record import PlateOnRecord, ScanOnRecord, plate_on_record
from tapscan.register.results import load_screening
from tapscan.register.scans import find_scan
from tapscan.register.visit_entries import Visit
from tapscan.screening.disposition import NOTES, doubted, eye_told
from tapscan.screening.next_steps import made_sure, may_tap, suspected
from tapscan.screening.open_findings import (
    EXAMINED,
    EYE_RULE,
    OpenFinding,
    PastScan,
    asking,
    still_open,
    with_seen,
    with_visits,
)
from tapscan.screening.plain_words import told_plainly, what_waits
from tapscan.screening.step import Step
from tapscan.wording import listed, spelled

__all__ = ["EXAMINED", "EYE_RULE", "OpenFinding", "ToldFinding", "open_findings", "plainly", "plate_on_record"]

DOUBTS = {
    "which plate": "That scan may be another plate's: nobody has made sure yet.",
    "which places": "In that scan places may be exchanged: nobody has made sure yet.",
}


class ToldFinding(Struct, frozen=True):
    """`figures` : empty where the plain words say all; `waits` : what must not be done meanwhile, empty where nothing."""

    finding: OpenFinding
    plain: str
    figures: str
    examined: str
    waits: str


def plainly(register: Register, plate: str, opened: Sequence[OpenFinding]) -> list[ToldFinding]:
    """For lists: the sentences that stand first on the scan's own page. What waits goes by the plate's newest state."""
    state = state_now(plate_on_record(register, plate)) if opened else None
    return [_told_plainly(register, o, state) for o in opened]


def _told_plainly(register: Register, o: OpenFinding, state: State | None) -> ToldFinding:
    if o.rule == EXAMINED:
        return ToldFinding(o, o.sentence, "", "", what_waits(state, [o.rule]))
    examined = f"Examined since: {'; '.join(o.outcomes) or 'no examination is on record'}."
    if o.rule == EYE_RULE:
        return ToldFinding(o, o.sentence, "", examined, what_waits(state, [o.rule]))
    screening = load_screening(register, find_scan(register, o.scan).current.id)
    found = next((i for i in screening.indications if i.sentence == o.sentence), None)
    if found is None:
        return ToldFinding(o, o.sentence, "", examined, what_waits(state, [o.rule]))
    plain = " ".join(filter(None, [told_plainly(found, screening.comparison), o.doubt]))
    return ToldFinding(o, plain, o.sentence, examined, what_waits(state, [o.rule]))


def open_findings(
    register: Register,
    plate: str,
    before: tuple[dt.date, int] | None = None,
    now: Screening | None = None,
    entry: ScanEntry | None = None,
    record: PlateOnRecord | None = None,
) -> tuple[OpenFinding, ...]:
    """Of the scans before that day and number, or of all.

    now : the scan at hand, as it reads beside its baseline; a silent one counts as one of the silent scans
    entry : of the scan at hand, where it is stored already: what came of it counts too
    record : of the plate, where it was read already
    """
    record = record or plate_on_record(register, plate)
    stored = next((s for s in record.scans if entry and s.id == entry.id), None)
    here = _at_hand(now, stored, record) if now else None
    if now is None and before is None:
        return record_opened(record)
    return opened_of(record, before, here, stored, now.scan.state if now else state_now(record))


def opened_of(
    record: PlateOnRecord,
    before: tuple[dt.date, int] | None,
    here: PastScan | None,
    stored: ScanOnRecord | None,
    state: State | None,
    *,
    visited: bool = False,
) -> tuple[OpenFinding, ...]:
    """The same of what was read of the plate already; where the plate may carry strings, all that may be a crack and was seen counts.

    visited : all that was seen on visits counts in any state
    """
    scans = [s for s in record.scans if before is None or (s.date, s.number) < before]
    visits = [v for v in record.visits if before is None or v.date <= before[0]]
    flaws = [(v.name, v.date.isoformat(), [o.told for look in v.looks for o in look.flaws]) for v in visits]
    known = (*scans, stored) if stored and before else scans
    looked = [v for v in visits if before is None or v.date < before[0]]  # of the same day: workflow/eye.py
    every = not may_tap(state)
    seen = sorted(
        (*_seen(scans, known, every), *_seen_on(looked, every or visited)), key=lambda o: o.date, reverse=True
    )
    past = [p for s in scans for p in (*_earlier_readings(s), past_of(s, record))]
    past += _earlier_readings(stored) if stored and before else []
    return with_visits(with_seen(still_open(past, here), seen), flaws)


def record_opened(record: PlateOnRecord, state: State | None = None) -> tuple[OpenFinding, ...]:
    """All that is open of a plate by now; where a visit is the newest that is known of it, by the visit's own measure. `state` : told by now."""
    last, visited = newest_day(record), [v.date for v in record.visits]
    return opened_of(record, None, None, None, state or state_now(record), visited=last in visited)


def newest_day(record: PlateOnRecord) -> dt.date | None:
    """Of which anything is noted."""
    return max([*(s.date for s in record.scans), *(v.date for v in record.visits)], default=None)


def state_now(record: PlateOnRecord) -> State | None:
    """On the newest day of which anything is noted; where visit and scans differ, the one that asks for most care."""
    last = newest_day(record)
    told = [v.state for v in record.visits if v.date == last] + [s.state for s in record.scans if s.date == last]
    return most_care([s for s in told if s])


def most_care(told: Sequence[State]) -> State | None:
    """Strings first, then the piano."""
    for group in (STRUNG, IN_PIANO):
        if found := [s for s in told if s in group]:
            return found[0]
    return told[0] if told else None


def plate_steps(opened: Sequence[OpenFinding], state: State | None) -> tuple[Step, ...]:
    """What these ask for; a loose part or a damper makes no plate suspected. Where all are of doubtful scans, it is asked first whose they are."""
    of_plate = [o for o in opened if o.rule not in NOTES]
    steps = suspected(state, asking(of_plate), again=False) if of_plate else ()
    return made_sure(steps) if of_plate and all(o.doubt for o in of_plate) else steps


def left_open(register: Register, plate: str) -> str:
    """By its whole name."""
    opened = record_opened(plate_on_record(register, plate))
    if not opened:
        return ""
    more = (
        f" {spelled(len(opened) - 1).capitalize()} more: {listed([o.scan for o in opened[1:]], 3)}."
        if opened[1:]
        else ""
    )
    return f"Still open, and to be told to whoever gets the plate: {opened[0].scan}: {opened[0].sentence}{more}"


def unexamined(opened: Sequence[OpenFinding]) -> bool:
    """As long as it does, no more scans of the plate are asked for."""
    return any(o.rule == EXAMINED or not o.outcomes for o in opened)


def _seen(scans: Sequence[ScanOnRecord], known: Sequence[ScanOnRecord], every: bool) -> list[OpenFinding]:
    """On the lists of scans, as long as no outcome of theirs or of a later one says what it is: lines in the iron, or `every` sign that may be a crack."""
    found = []
    for s in scans:
        if (seen := (suspects if every else in_iron)(s.checklist)) and not explained(s, known):
            told = tuple(o.told for o in _since(s, known))
            found.append(OpenFinding(s.name, s.date.isoformat(), EYE_RULE, eye_told(seen), told))
    return found


def explained(scan: ScanOnRecord, known: Sequence[ScanOnRecord]) -> bool:
    """Whether an examination has said what the eye saw: noted with that scan, or with a later one of `known` on which nothing else was seen."""
    mine = {f.item for f in scan.checklist}
    return any(o.explains for s in _later(scan, known) if _of_the_same(s, scan, mine) for o in s.settling)


def _of_the_same(later: ScanOnRecord, scan: ScanOnRecord, mine: set[str]) -> bool:
    return later.id == scan.id or not (seen := {f.item for f in later.checklist}) or bool(seen & mine)


def _since(scan: ScanOnRecord, known: Sequence[ScanOnRecord]) -> list[Outcome]:
    return [o for one in _later(scan, known) for o in one.settling]


def _later(scan: ScanOnRecord, known: Sequence[ScanOnRecord]) -> list[ScanOnRecord]:
    """That one, too."""
    return [one for one in known if (one.date, one.number) >= (scan.date, scan.number)]


def _seen_on(visits: Sequence[Visit], every: bool) -> list[OpenFinding]:
    """The same of visits, which know themselves what is open."""
    found = []
    for v in visits:
        looks = [look for look in v.suspects if not look.flaws and (every or IN_IRON in look.signs)]
        told = tuple(o.told for look in looks for o in look.outcomes)
        if looks:
            said = eye_told([f"{REGIONS[look.region]}: {look.told}" for look in looks])
            found.append(OpenFinding(v.name, v.date.isoformat(), EYE_RULE, said, told, visit=True))
    return found


def past_of(scan: ScanOnRecord, record: PlateOnRecord) -> PastScan:
    """As it was read; but one of a plate that by its own state, or by a visit of that day, was in its piano, or of which nobody says where it was, is no silent scan."""
    told = (scan.state, *(v.state for v in record.visits if v.date == scan.date))
    return PastScan(
        scan.name,
        scan.date.isoformat(),
        _out_of_its_piano(scan.disposition, told),
        scan.relevant,
        tuple(o.told for o in scan.settling),
        any(o.part for o in scan.settling),
        tuple(o.told for o in scan.flaws),
        scan.played,
        scan.not_run,
        DOUBTS.get(doubted(scan.headline), ""),
        scan.heard or {},
    )


def _out_of_its_piano(said: Disposition, states: Iterable[State | None]) -> Disposition:
    """What was said, if the plate is known to have hung or lain free; silence does not count elsewhere."""
    known = [s for s in states if s]
    free = bool(known) and not any(s in IN_PIANO for s in known)
    return said if free or said != "no relevant indication" else "inconclusive"


def _earlier_readings(scan: ScanOnRecord) -> list[PastScan]:
    """What these found of the same taps, where the checks were not made again: it was not looked for, so it is not gone."""
    if not scan.unheard:
        return []
    told, part = tuple(o.told for o in scan.settling), any(o.part for o in scan.settling)
    mine = PastScan(scan.name, scan.date.isoformat(), "relevant indication", scan.unheard, told, part)
    return [replace(mine, played=scan.played, heard=scan.heard or {})]


def _at_hand(now: Screening, stored: ScanOnRecord | None, record: PlateOnRecord) -> PastScan:
    relevant = tuple(i for i in now.indications if i.interpretation == "relevant")
    bare = past_of(stored, record) if stored else PastScan("", "", now.disposition, relevant)
    told = (now.scan.state, *(v.state for v in record.visits if stored and v.date == stored.date))
    disposition = _out_of_its_piano(now.disposition, told)
    not_run = tuple(r.rule for r in now.rules_not_run)
    played, heard = now.scan.played is not None, heard_in(now.scan)
    return replace(bare, disposition=disposition, relevant=relevant, played=played, not_run=not_run, heard=heard)
