"""What is still open from a plate's earlier scans, read from the register.

open_findings(register, plate, before, now, entry)   OpenFinding after OpenFinding, newest first
unexamined(opened)                                   whether one of them waits for an examination, or one found a flaw
record_opened(record), opened_of(record, ...)        the same of what was read of the plate already
state_now(record)                                    state of the plate, as it was told last
plate_steps(opened, state)                           what these ask for; empty where nothing is suspected
no_longer_open(before, now)                          what a change has closed
left_open(register, plate)                           what whoever gets the plate must know, in one line; empty where nothing is open
plainly(register, plate, opened)                     each in plain words, figures apart, with what waits meanwhile
"""

import datetime as dt
from collections.abc import Iterable, Sequence

from msgspec import Struct
from msgspec.structs import replace

from tapscan.places import IN_PIANO, REGIONS, STRUNG, State
from tapscan.records import Disposition, Screening
from tapscan.records.heard import Heard, day_of
from tapscan.records.scan import same_place
from tapscan.register.database import Register
from tapscan.register.entries import IN_IRON, Finding, Outcome, ScanEntry, in_iron, in_words, suspects
from tapscan.register.heard import heard_in
from tapscan.register.on_record import FoundBefore, PlateOnRecord, ScanOnRecord, plate_on_record
from tapscan.register.results import load_screening
from tapscan.register.scans import find_scan
from tapscan.register.visit_entries import Visit
from tapscan.screening.disposition import NOTES, doubted, eye_told
from tapscan.screening.next_steps import made_sure, may_tap, suspected
from tapscan.screening.open_findings import (
    EXAMINED,
    EYE_RULE,
    OpenFinding,
    asking,
    still_open,
    with_seen,
    with_visits,
)
from tapscan.screening.past_scan import CHANGES, NOTHING_HEARD, PastScan, is_before, room_unread, same_limits
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
    examined = f"Examined since: {'; '.join(o.outcomes) or 'no examination is on record'}. {o.wants}".rstrip()
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
    scans, every_scan = (
        [s for s in some if before is None or (s.date, s.number) < before] for some in (record.scans, record.every)
    )
    visits = [v for v in record.visits if before is None or v.date <= before[0]]
    flaws = [(v.name, v.date.isoformat(), [o.told for look in v.looks for o in look.flaws]) for v in visits]
    known = (*every_scan, stored) if stored and before else every_scan
    looked = [v for v in visits if before is None or v.date < before[0]]  # of the same day: workflow/eye.py
    every = not may_tap(state)
    seen = sorted(
        (*_seen(every_scan, known, every), *_seen_on(looked, every or visited)), key=lambda o: o.date, reverse=True
    )
    past = [p for s in scans for p in (*_earlier_readings(s, record), past_of(s, record))]
    past += _earlier_readings(stored, record) if stored and before else []
    return with_visits(with_seen(still_open(past, here), seen), flaws)


def record_opened(record: PlateOnRecord, state: State | None = None) -> tuple[OpenFinding, ...]:
    """All that is open of a plate by now; where a visit is the newest that is known of it, by the visit's own measure. `state` : told by now."""
    last, visited = newest_day(record), [v.date for v in record.visits]
    return opened_of(record, None, None, None, state or state_now(record), visited=last in visited)


def newest_day(record: PlateOnRecord) -> dt.date | None:
    """Of which anything is noted."""
    return max([*(s.date for s in record.scans), *(v.date for v in record.visits)], default=None)


def state_now(record: PlateOnRecord) -> State | None:
    """As it was told last; None where nothing is told of the newest day. But a plate that was in its piano, also by a scan that was crossed out, is not taken for one out of it before somebody says so."""
    crossed_out = [s for s in record.crossed_out if s.state in IN_PIANO]
    told = [(one.date, one.state) for some in (record.visits, record.scans, crossed_out) for one in some]
    days = sorted({day for day, _ in told}, reverse=True)
    of_days = [most_care([s for on, s in told if on == day and s]) for day in days]
    last = next((s for s in of_days if s), None)
    return last if last in IN_PIANO or of_days[:1] == [last] else None


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


def no_longer_open(before: Sequence[OpenFinding], now: Sequence[OpenFinding]) -> str:
    """For whoever has just changed something: a sentence, empty where nothing was closed."""
    closed = [f"{o.scan}: {o.sentence}" for o in before if not any(_same(o, one) for one in now)]
    return f"No longer open: {' '.join(closed)}" if closed else ""


def _same(was: OpenFinding, now: OpenFinding) -> bool:
    """What the eye saw on one day stands as one, as long as any of it is open; a finding of the taps, as long as another scan has it."""
    if EYE_RULE in (was.rule, now.rule):
        return (was.scan, was.rule) == (now.scan, now.rule)
    return was.rule == now.rule and same_place(was.places, now.places)


def unexamined(opened: Sequence[OpenFinding]) -> bool:
    """As long as it does, no more scans of the plate are asked for."""
    return any(o.rule == EXAMINED or not o.outcomes for o in opened)


def _seen(scans: Sequence[ScanOnRecord], known: Sequence[ScanOnRecord], every: bool) -> list[OpenFinding]:
    """On the lists of scans, as long as no outcome of theirs or of a later one says what it is: lines in the iron, or `every` sign that may be a crack."""
    found = []
    for s in scans:
        if seen := (suspects if every else in_iron)(unexplained(s, known)):
            told = tuple(o.told for o in _since(s, known) if not o.explains)  # what was explained is something else
            found.append(OpenFinding(s.name, s.date.isoformat(), EYE_RULE, eye_told(seen), told))
    return found


def unexplained(scan: ScanOnRecord, known: Sequence[ScanOnRecord]) -> tuple[Finding, ...]:
    """What the eye saw, and no examination has named yet."""
    return tuple(
        f for f in scan.checklist if not any(_explains(o, f, s, scan) for s in _later(scan, known) for o in s.settling)
    )


def _explains(o: Outcome, seen: Finding, noted_with: ScanOnRecord, scan: ScanOnRecord) -> bool:
    """By its words; one that does not say which: all that was seen on its own scan, and earlier where nothing else was seen on it."""
    if not o.explains_all:
        return any(o.names(words) for words in in_words((seen,)))
    there = {f.item for f in noted_with.checklist}
    return noted_with.id == scan.id or not there or seen.item in there


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
    parts = [o for o in scan.settling if o.part]
    return PastScan(
        scan.name,
        scan.date.isoformat(),
        _out_of_its_piano(scan.disposition, told),
        scan.relevant,
        tuple(o.told for o in scan.settling),
        bool(parts),
        tuple(o.told for o in scan.flaws),
        scan.played,
        scan.not_run,
        DOUBTS.get(doubted(scan.headline), ""),
        _counting(scan.heard or NOTHING_HEARD, scan.state, record),
        bool(parts) and not any(_noted_here(o, scan) for o in parts),
    )


def _counting(heard: Heard, state: State | None, record: PlateOnRecord) -> Heard:
    """Beside a scan that does not count any more, or that by now is known to be of a plate in its piano, nothing was compared."""
    if not heard.beside:
        return heard
    inside = {day_of(s.name): s.state in IN_PIANO for s in record.scans}
    holds = all(inside.get(day) == (state in IN_PIANO) for day in heard.beside)
    return heard if holds else replace(heard, beside=())


def _noted_here(o: Outcome, scan: ScanOnRecord) -> bool:
    """And not while the scan was another plate's; of the day itself that is not known."""
    return scan.moved_on is None or (o.entered_utc or "")[:10] > scan.moved_on


def _out_of_its_piano(said: Disposition, states: Iterable[State | None]) -> Disposition:
    """What was said, if the plate is known to have hung or lain free; silence does not count elsewhere."""
    known = [s for s in states if s]
    free = bool(known) and not any(s in IN_PIANO for s in known)
    return said if free or said != "no relevant indication" else "inconclusive"


def _earlier_readings(scan: ScanOnRecord, record: PlateOnRecord) -> list[PastScan]:
    """What these found of the same taps, where it was not looked for again as it had been: so it is not gone."""
    if not scan.earlier:
        return []
    mine, heard = past_of(scan, record), scan.heard or NOTHING_HEARD
    return [
        replace(mine, relevant=(one.found,), heard=replace(heard, settings_sha256=one.settings_sha256))
        for one in scan.earlier
        if not _looked_for_again(one, scan, record)
    ]


def _looked_for_again(one: FoundBefore, scan: ScanOnRecord, record: PlateOnRecord) -> bool:
    """At its places; a change: against the same scans, as far as they still count, and all of them from before it."""
    if scan.heard is not None and set(one.found.stations) - set(scan.heard.where):
        return False
    if one.found.rule in scan.not_run or not same_limits(scan.settings_sha256, one.settings_sha256):
        return False
    counting = {day_of(s.name) for s in record.scans}
    before_it = all(is_before(day, day_of(scan.name)) for day in scan.beside)
    return one.found.rule not in CHANGES or (
        bool(scan.beside) and before_it and set(one.beside) & counting <= set(scan.beside)
    )


def _at_hand(now: Screening, stored: ScanOnRecord | None, record: PlateOnRecord) -> PastScan:
    relevant = tuple(i for i in now.indications if i.interpretation == "relevant")
    bare = past_of(stored, record) if stored else PastScan("", "", now.disposition, relevant)
    told = (now.scan.state, *(v.state for v in record.visits if stored and v.date == stored.date))
    disposition = _out_of_its_piano(now.disposition, told)
    not_run = tuple(r.rule for r in now.rules_not_run)
    heard = _counting(heard_in(now, room_unread=room_unread(now.scan, not_run)), now.scan.state, record)
    played = now.scan.played is not None
    return replace(bare, disposition=disposition, relevant=relevant, played=played, not_run=not_run, heard=heard)
