"""What is still open from a plate's earlier scans, read from the register.

open_findings(register, plate, before, now, entry)   OpenFinding after OpenFinding, newest first
unexamined(opened)                                   whether one of them waits for an examination, or one found a flaw
plainly(register, plate, opened)                     each in plain words, figures apart, with what waits meanwhile
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

from tapscan.places import REGIONS, State
from tapscan.records import Disposition, Indication, Screening
from tapscan.register.database import Register
from tapscan.register.entries import IN_IRON, Outcome, ScanEntry, in_iron
from tapscan.register.results import load_indications, load_screening
from tapscan.register.scans import find_scan, list_scans
from tapscan.register.visit_entries import Visit
from tapscan.register.visits import list_visits
from tapscan.screening.disposition import eye_told
from tapscan.screening.open_findings import (
    EXAMINED,
    EYE_RULE,
    OpenFinding,
    PastScan,
    still_open,
    with_seen,
    with_visits,
)
from tapscan.screening.plain_words import told_plainly, what_waits

__all__ = ["EXAMINED", "EYE_RULE", "OpenFinding", "ToldFinding", "open_findings", "plainly"]


@dataclass(frozen=True)
class ToldFinding:
    """`figures` : empty where the plain words say all; `waits` : what must not be done meanwhile, empty where nothing."""

    finding: OpenFinding
    plain: str
    figures: str
    examined: str
    waits: str


def plainly(register: Register, plate: str, opened: Sequence[OpenFinding]) -> list[ToldFinding]:
    """For lists: the sentences that stand first on the scan's own page. What waits goes by the plate's newest state."""
    entries = list_scans(register, plate) if opened else []
    state = entries[-1].conditions.state if entries else None
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
    return ToldFinding(o, told_plainly(found, screening.comparison), o.sentence, examined, what_waits(state, [o.rule]))


def open_findings(
    register: Register,
    plate: str,
    before: tuple[dt.date, int] | None = None,
    now: Screening | None = None,
    entry: ScanEntry | None = None,
) -> tuple[OpenFinding, ...]:
    """Of the scans before that day and number, or of all.

    now : the scan at hand, as it reads beside its baseline; a silent one counts as one of the silent scans
    entry : of the scan at hand, where it is stored already: what came of it counts too
    """
    entries = [e for e in list_scans(register, plate) if before is None or (e.date, e.number) < before]
    said = load_indications(register, [e.current.id for e in entries])
    past = [_past(e, e.current.disposition, said[e.current.id]) for e in entries]
    past = [replace(p, not_run=_not_run(register, e)) if e.played else p for p, e in zip(past, entries, strict=True)]
    here = None
    if now:
        told = _past(entry, now.disposition, now.indications) if entry else _nameless(now)
        not_run = tuple(r.rule for r in now.rules_not_run)
        here = replace(told, played=now.scan.played is not None, not_run=not_run)
    visits = [v for v in list_visits(register, plate) if before is None or v.date <= before[0]]
    flaws = [(v.name, v.date.isoformat(), [o.told for look in v.looks for o in look.flaws]) for v in visits]
    known = (*entries, entry) if entry and before else entries
    looked = [v for v in visits if before is None or v.date < before[0]]  # of the same day: workflow/eye.py
    seen = sorted((*_seen(entries, known), *_seen_on(looked)), key=lambda o: o.date, reverse=True)
    return with_visits(with_seen(still_open(past, here), seen), flaws)


def unexamined(opened: Sequence[OpenFinding]) -> bool:
    """As long as it does, no more scans of the plate are asked for."""
    return any(o.rule == EXAMINED or not o.outcomes for o in opened)


def _seen(entries: Sequence[ScanEntry], known: Sequence[ScanEntry]) -> list[OpenFinding]:
    """Lines in the iron on the lists of scans, as long as no outcome of theirs or of a later one says what they are."""
    found = []
    for e in entries:
        if (seen := in_iron(e.checklist)) and not explained(e, known):
            told = tuple(o.told for o in _since(e, known))
            found.append(OpenFinding(e.name, e.date.isoformat(), EYE_RULE, eye_told(seen), told))
    return found


def explained(entry: ScanEntry, known: Sequence[ScanEntry]) -> bool:
    """Whether an examination has said what the eye saw: noted with that scan or a later one of `known`."""
    return any(o.explains for o in _since(entry, known))


def _since(entry: ScanEntry, known: Sequence[ScanEntry]) -> list[Outcome]:
    return [o for one in known if (one.date, one.number) >= (entry.date, entry.number) for o in one.outcomes]


def _seen_on(visits: Sequence[Visit]) -> list[OpenFinding]:
    """The same of visits, which know themselves what is open."""
    found = []
    for v in visits:
        looks = [look for look in v.suspects if IN_IRON in look.signs]
        told = tuple(o.told for look in looks for o in look.outcomes)
        if looks:
            said = eye_told([f"{REGIONS[look.region]}: {look.told}" for look in looks])
            found.append(OpenFinding(v.name, v.date.isoformat(), EYE_RULE, said, told, visit=True))
    return found


def _past(entry: ScanEntry, disposition: Disposition, indications: Sequence[Indication]) -> PastScan:
    return PastScan(
        entry.name,
        entry.date.isoformat(),
        disposition,
        _relevant(indications),
        tuple(o.told for o in entry.outcomes),
        any(o.part for o in entry.outcomes),
        tuple(o.told for o in entry.flaws),
        entry.played,
    )


def _nameless(now: Screening) -> PastScan:
    return PastScan("", "", now.disposition, _relevant(now.indications))


def _not_run(register: Register, entry: ScanEntry) -> tuple[str, ...]:
    """Of played notes alone: a scan by taps says by its disposition whether it could be judged."""
    return tuple(r.rule for r in load_screening(register, entry.current.id).rules_not_run)


def _relevant(indications: Sequence[Indication]) -> tuple[Indication, ...]:
    return tuple(i for i in indications if i.interpretation == "relevant")
