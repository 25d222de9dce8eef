"""The round of a visit in words: the answers, and what a scan of the same day tells of it.

ANSWERS, KEY_ANSWERS     the answers of a region, and of the keys
by_answer(visit)         answer, regions: rows of the round, keys aside
seen_rows(register, entry)   what was looked for, answer, note: of the scan's own list and of that day's visit
"""

from tapscan.places import CHECKLIST, KEYS, REGIONS
from tapscan.register.database import Register
from tapscan.register.entries import Finding, ScanEntry, full_checklist
from tapscan.register.visit_entries import Visit
from tapscan.register.visits import visit_on

ANSWERS = {
    "nothing": "seen, nothing noticed",
    "note": "seen, see note",
    "hidden": "could not be seen",
    None: "not looked at, no reason written down",
}
KEY_ANSWERS = {
    "nothing": "played, nothing noticed",
    "note": "played, see note",
    "hidden": "could not be played",
    None: "not played",
}
ON_VISIT = "On the visit of that day"


def by_answer(visit: Visit) -> tuple[tuple[str, str], ...]:
    """In the order of ANSWERS."""
    rows = []
    for answer, said in ANSWERS.items():
        titles = [REGIONS[look.region] for look in visit.round if look.answer == answer and look.region != KEYS]
        if titles:
            rows.append((said, "; ".join(titles)))
    return tuple(rows)


def seen_rows(
    register: Register, entry: ScanEntry, listed: tuple[Finding, ...] | None = None
) -> tuple[tuple[str, str, str], ...]:
    """`listed` : of the scan's list, else the whole of it. Where a visit of that day went round, what the list leaves unanswered is not called not looked at."""
    asked = full_checklist(entry.checklist) if listed is None else listed
    visit = visit_on(register, entry.plate, entry.date)
    if visit is None or not any(look.answer and look.region != KEYS for look in visit.looks):
        return tuple((CHECKLIST[f.item], f.answer, f.note or "") for f in asked)
    own = tuple((CHECKLIST[f.item], f.answer, f.note or "") for f in asked if f.answer != "not looked at" or f.note)
    noted = tuple((REGIONS[look.region], ON_VISIT.lower(), look.told) for look in visit.round if look.answer == "note")
    rest = [(ON_VISIT, said, regions) for said, regions in by_answer(visit) if said != ANSWERS["note"]]
    return (*own, *noted, *rest)
