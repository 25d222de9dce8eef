"""What goes into a register and comes out of it: frozen structs without a database in them.

Unknown is None. Names and notes are text as the shop writes them.
"""

import datetime as dt
from collections.abc import Iterable
from typing import Any, Literal

from msgspec import Struct, field

from tapscan.places import CHECKLIST, IN_PIANO, STRUNG, State
from tapscan.records import BarReading, Disposition, ScanConditions, Screening
from tapscan.wording import listed

Answer = Literal["seen", "not seen", "not looked at"]
ANSWERS: tuple[Answer, ...] = ("seen", "not seen", "not looked at")
IN_IRON = "iron-line"  # seen in the iron itself: it counts in every state of the plate
EYE_SUSPECTS = (IN_IRON, "rust-line", "cracked-finish", "offset-edges")  # what a crack looks like from outside
ONLY_IN: dict[str, tuple[State, ...]] = {  # states of the plate in which there is anything to look at
    "cracked-finish": ("as-found", "old-finish", "primed", "finished", "fitted-out", "in-piano-unstrung", "strung"),
    "missing-screws": IN_PIANO,
    "loose-nose-bolts": IN_PIANO,
    "pitch-not-held": STRUNG,
}
PART = "caused by this part, since fixed: "
CLEAN = "nothing was found: "
SEEN = "what was seen is this: "
SEEN_ONE = ("what was seen, ", ", is this: ")  # one thing, by its words as they stood, which stand between
BY_MISTAKE = "Noted by eye, by mistake:"
CLEAN_WORDS = ("nothing", "nothing found", "nothing was found", "no flaw", "no flaw found", "no crack found")


class Finding(Struct, frozen=True):
    """One line of the visual checklist."""

    item: str  # a key of CHECKLIST
    answer: Answer
    note: str | None = None


def full_checklist(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Every item once, in order; what was not answered was not looked at."""
    known = {f.item: f for f in findings}
    return tuple(known.get(item, Finding(item, "not looked at")) for item in CHECKLIST)


def checklist_in(state: State | None, findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """The same without what cannot be looked at in that state; what was answered or noted stays in any."""
    kept = {f.item for f in findings if f.answer != "not looked at" or f.note}
    fits = {item for item in CHECKLIST if state is None or state in ONLY_IN.get(item, (state,))}
    return tuple(f for f in full_checklist(findings) if f.item in kept | fits)


def in_words(findings: tuple[Finding, ...]) -> tuple[str, ...]:
    """What was seen, each with its note."""
    return tuple(f"{CHECKLIST[f.item]}{f' ({f.note})' if f.note else ''}" for f in findings if f.answer == "seen")


def noted(findings: tuple[Finding, ...]) -> tuple[str, ...]:
    """What was written beside an item that was not seen: it may tell of something that the list has no item for."""
    rest = (f for f in findings if f.answer != "seen" and f.note)
    return tuple(f"{CHECKLIST[f.item]}, {f.answer}: {f.note}" for f in rest)


def by_eye(findings: tuple[Finding, ...]) -> tuple[str, ...]:
    """Sentences with all that was seen or noted."""
    seen, beside = in_words(findings), noted(findings)
    told = (f"Seen by eye: {listed(seen)}.",) if seen else ()
    return (*told, *(f"Noted by eye: {one.rstrip('.')}." for one in beside))


def suspects(findings: tuple[Finding, ...]) -> tuple[str, ...]:
    """Of these what may be a crack."""
    return in_words(tuple(f for f in findings if f.item in EYE_SUSPECTS))


def in_iron(findings: tuple[Finding, ...]) -> tuple[str, ...]:
    """Of these what was seen in the iron itself."""
    return in_words(tuple(f for f in findings if f.item == IN_IRON))


class KeptFile(Struct, frozen=True):
    """A file in the register's folder."""

    sha256: str
    size_bytes: int
    name: str  # as it was called when it came in; text only, never a path


class KeptBar(Struct, frozen=True):
    """Recordings of the reference bar that belong to a scan."""

    name: str  # of the bar
    first: tuple[KeptFile, ...] = ()  # before the plate
    last: tuple[KeptFile, ...] = ()  # after it

    @property
    def files(self) -> tuple[KeptFile, ...]:
        """All of them."""
        return (*self.first, *self.last)


class Bar(Struct, frozen=True):
    """A reference bar of the shop."""

    name: str
    notes: str | None
    added_utc: str
    first_scan: str | None  # with which it was first struck, as it was called then
    first: BarReading | None  # what was heard of it then
    id: int


class Plate(Struct, frozen=True):
    """A casting the shop knows."""

    name: str
    pattern: str | None = None
    serial: str | None = None
    kind: str | None = None  # grand, upright, ... in the shop's words
    mass_kg: float | None = None
    notes: str | None = None
    added_utc: str | None = None  # ISO 8601; None before it is stored
    retired_on: dt.date | None = None
    retired_why: str | None = None
    photos: tuple[KeptFile, ...] = ()
    id: int | None = None  # row in the register; None before it is stored


class NewScan(Struct, frozen=True):
    """A scan about to be stored."""

    date: dt.date
    conditions: ScanConditions
    operator: str | None = None
    notes: str | None = None
    baseline: bool = False
    checklist: tuple[Finding, ...] = ()
    reading: dict[str, Any] = field(default_factory=dict)  # how the recordings were read: layout, order, mends
    baseline_although: str | None = None  # why it may be a baseline in spite of what is found
    bar: KeptBar | None = None  # its files lie in the folder already


class NewScreening(Struct, frozen=True):
    """A screening about to be stored, with what it was made by."""

    screening: Screening
    settings_text: str  # every threshold, one `name = value` line each
    tapscan_version: str


class Outcome(Struct, frozen=True):
    """What a later examination found. A named person says so.

    Where a part was the cause `found` begins with PART, so that every page that shows it tells so; where what the eye saw is explained, with SEEN.
    """

    found: str
    method: str
    by_whom: str
    on: dt.date
    note: str | None = None
    entered_utc: str | None = None

    @property
    def part(self) -> str | None:
        """The part that caused the finding and was fixed, where one is named."""
        return self.found.removeprefix(PART) if self.found.startswith(PART) else None

    @property
    def flaw(self) -> bool:
        """Whether it counts as a flaw: it names no part, and does not say in so many words that nothing was found."""
        words = self.found.strip().rstrip(".").casefold()
        return not (self.part or self.explains or self.found.startswith(CLEAN) or words in CLEAN_WORDS)

    def not_before(self, seen_on: dt.date) -> bool:
        """Whether the examination is of that day or later: an earlier one cannot explain what was seen that day."""
        return self.on >= seen_on

    @property
    def explains(self) -> bool:
        """Whether it names what the eye had seen."""
        return self.explains_all or (self.found.startswith(SEEN_ONE[0]) and SEEN_ONE[1] in self.found)

    @property
    def explains_all(self) -> bool:
        """Whether it does not say which of the things that were seen; so it is in older registers."""
        return self.found.startswith(SEEN)

    def names(self, words: str) -> bool:
        """Whether it says what that was. `words` : of what was seen, as they stand now: what was added since is not explained."""
        return self.found.startswith(words.join(SEEN_ONE))

    @property
    def told(self) -> str:
        """In one line, with who says so."""
        return f"{self.found} ({self.method}, by {self.by_whom}, {self.on.isoformat()})"


def explained_as(words: str, found: str) -> str:
    """For Outcome.found."""
    return words.join(SEEN_ONE) + found


def later_outcomes(outcomes: Iterable[Outcome], seen_on: dt.date) -> tuple[Outcome, ...]:
    """Those that may settle what was seen that day. Older registers may hold one dated before it, which settles nothing; a flaw counts all the same."""
    return tuple(o for o in outcomes if o.not_before(seen_on) or o.flaw)


class ScreeningEntry(Struct, frozen=True):
    """One screening of a scan, without its figures."""

    number: int  # 1 is the first; the highest is the one that counts
    made_utc: str
    tapscan_version: str
    settings_sha256: str
    disposition: Disposition
    headline: str
    id: int


class Move(Struct, frozen=True):
    """A scan was given to another plate."""

    before: str  # PLATE/DATE[-n]
    after: str
    on: str  # ISO 8601
    why: str
    screening: int | None = None  # the one that counted then. None in older registers

    @property
    def of_another_plate(self) -> bool:
        """Not of another day alone."""
        return self.before.rpartition("/")[0] != self.after.rpartition("/")[0]


class TakenBack(Struct, frozen=True):
    """What the eye had noted, may be a crack, and was a mistake: a person says why."""

    what: str  # as it stood, in words
    on: str  # ISO 8601
    why: str

    @property
    def told(self) -> str:
        """In one line."""
        return f"{self.what}; taken back on {self.on}: {self.why}"


def crossed_out_words(on: dt.date | None, why: str | None) -> str | None:
    """In one line; None where it counts."""
    return f"crossed out on {on.isoformat()}: {why}" if on else None


class ScanLine(Struct, frozen=True):
    """One scan, as a list has it."""

    name: str  # PLATE/DATE[-n]
    state: str | None
    headline: str  # of the screening that counts
    baseline: bool
    baseline_although: str | None
    crossed_out: str | None
    outcomes: tuple[Outcome, ...]


class ScanEntry(Struct, frozen=True):
    """A stored scan, without its figures."""

    name: str  # PLATE/DATE[-n]
    plate: str
    date: dt.date
    number: int  # 1 for the first scan of the day
    conditions: ScanConditions
    operator: str | None
    notes: str | None
    baseline: bool
    stored_utc: str
    layout: str | None
    reading: dict[str, Any]
    checklist: tuple[Finding, ...]
    files: tuple[KeptFile, ...]
    screenings: tuple[ScreeningEntry, ...]  # oldest first, at least one
    outcomes: tuple[Outcome, ...]
    id: int
    void_on: dt.date | None = None  # crossed out that day: kept, shown, never compared
    void_why: str | None = None
    baseline_although: str | None = None  # why it is a baseline in spite of what was found
    moves: tuple[Move, ...] = ()  # oldest first
    bar: KeptBar | None = None  # the reference bar struck with it
    taken_back: tuple[TakenBack, ...] = ()  # of what the eye saw, oldest first

    @property
    def crossed_out(self) -> str | None:
        """In one line; None where it counts."""
        return crossed_out_words(self.void_on, self.void_why)

    @property
    def line(self) -> ScanLine:
        """For a list."""
        facts = (self.name, self.conditions.state, self.current.headline, self.baseline, self.baseline_although)
        return ScanLine(*facts, self.crossed_out, self.outcomes)

    @property
    def played(self) -> bool:
        """Keys were played and nothing was tapped: such a scan is compared with no other."""
        return bool(self.reading.get("played"))

    @property
    def unread(self) -> bool:
        """Given to this plate, or day, and not read anew since. In older registers the days tell, a day apart at least: one is of UTC."""
        if not self.moves:
            return False
        last = self.moves[-1]
        if last.screening is None:
            return dt.date.fromisoformat(self.current.made_utc[:10]) < dt.date.fromisoformat(last.on) - dt.timedelta(1)
        return last.screening == self.current.number

    @property
    def unread_from_elsewhere(self) -> bool:
        """And what it says was said of another plate's."""
        since = (m for m in self.moves if m.screening in (None, self.current.number))
        return self.unread and any(m.of_another_plate for m in since)

    @property
    def flaws(self) -> tuple[Outcome, ...]:
        """Outcomes that count as a flaw."""
        return tuple(o for o in self.outcomes if o.flaw)

    @property
    def settling(self) -> tuple[Outcome, ...]:
        """Outcomes that count."""
        return later_outcomes(self.outcomes, self.date)

    @property
    def seen(self) -> tuple[Finding, ...]:
        """What the eye saw."""
        return tuple(f for f in self.checklist if f.answer == "seen")

    @property
    def by_eye(self) -> tuple[str, ...]:
        """The same in sentences, with what was noted beside it, and what was taken back."""
        return (*by_eye(self.checklist), *(f"{BY_MISTAKE} {one.told.rstrip('.')}." for one in self.taken_back))

    @property
    def current(self) -> ScreeningEntry:
        """The screening that counts."""
        return self.screenings[-1]
