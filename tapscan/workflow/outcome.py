"""What an examination found is noted with a scan.

note_outcome(register, name, kind, told, item)   Noted, with what is closed by it: whoever notes it must see that he meant that
may_be_explained(register, entry)                what the eye saw on that scan: what may be a crack and no examination has named yet; where there is none, all of it
"""

from collections.abc import Sequence

from msgspec import Struct
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.places import CHECKLIST
from tapscan.register.database import Register
from tapscan.register.entries import CLEAN, EYE_SUSPECTS, PART, Finding, Outcome, ScanEntry, explained_as, in_words
from tapscan.register.on_record import PlateOnRecord, ScanOnRecord, plate_on_record
from tapscan.register.scans import add_outcome, find_scan
from tapscan.wording import argument, listed
from tapscan.workflow.still_open import no_longer_open, record_opened, unexplained

KINDS = ("flaw", "part", "clean", "seen")


class Noted(Struct, frozen=True):
    """What was kept, and what that means."""

    entry: ScanEntry
    found: str  # as it stands
    closed: str  # a sentence; empty where it closes nothing


def note_outcome(register: Register, name: str, kind: str, told: Outcome, item: str = "") -> Noted:
    """`kind` : of KINDS; `item` : of CHECKLIST, where it explains one of several things that were seen. Raises as add_outcome."""
    entry = find_scan(register, name)
    record = plate_on_record(register, entry.plate)
    before = record_opened(record)
    seen = _which(entry, record, item) if kind == "seen" else ""
    begun = {"flaw": "", "part": PART, "clean": CLEAN, "seen": explained_as(seen, "")}[kind]
    found = begun + told.found
    entry = add_outcome(register, name, replace(told, found=found))
    return Noted(entry, found, no_longer_open(before, record_opened(plate_on_record(register, entry.plate))))


def may_be_explained(register: Register, entry: ScanEntry) -> dict[str, str]:
    """By item, its words as they stand."""
    return _open_on(entry, plate_on_record(register, entry.plate)) or {f.item: _words(f) for f in entry.seen}


def _which(entry: ScanEntry, record: PlateOnRecord, item: str) -> str:
    """The words of what was seen. Raises BadRequest where that is not plain."""
    own = {f.item: _words(f) for f in entry.seen}
    if item:
        if item not in own:
            raise BadRequest(f"{entry.name}: {CHECKLIST.get(item, item)} is not noted as seen there")
        return own[item]
    left = _open_on(entry, record) or own
    if len(left) == 1:
        return next(iter(left.values()))
    if left:
        named = listed([f"{words} (--of {key})" for key, words in left.items()])
        raise BadRequest(
            f"{entry.name}: several things were seen: {named}. Say which of them this was; each is noted by itself"
        )
    return _of_earlier(entry, record)


def _of_earlier(entry: ScanEntry, record: PlateOnRecord) -> str:
    """Nothing was seen on this scan: the one thing that is open from before it."""
    seen = {
        words: s.name
        for s in record.every
        if (s.date, s.number) < (entry.date, entry.number)
        for words in _suspects(unexplained(s, record.every))
    }
    if len(seen) == 1:
        return next(iter(seen))
    if not seen:
        raise BadRequest(
            f"{entry.name}: nothing that the eye saw is open there; note first what was seen, or leave out that this explains it"
        )
    raise BadRequest(
        f"{entry.name}: nothing that is open was seen there, but {listed([f'{words} on {scan}' for words, scan in seen.items()])}. "
        f"Note it with that scan: `tapscan scan outcome {argument(next(iter(seen.values())))} --explains`"
    )


def _open_on(entry: ScanEntry, record: PlateOnRecord) -> dict[str, str]:
    mine: ScanOnRecord | None = next((s for s in record.every if s.id == entry.id), None)
    left = unexplained(mine, record.every) if mine else ()
    return {f.item: _words(f) for f in left if f.item in EYE_SUSPECTS}


def _suspects(seen: Sequence[Finding]) -> list[str]:
    return [_words(f) for f in seen if f.item in EYE_SUSPECTS]


def _words(f: Finding) -> str:
    return in_words((f,))[0]
