"""The shop's plates in a line each, with what is to be done next.

    lines(register, retired)      Line after Line, by name
    as_they_stand(register, lines)   the same with what their newest scans say by now
    next_of(register, plate)      what comes first, by name of the plates on which the work cannot simply go on
    standing_of(register, record, state)   Standing: what is open of a plate, and what to do
    chosen(lines, words, kind)    those whose name, pattern or serial number holds the words, and that are of that kind
    KINDS                         look, repeat, baseline, due: what a person may ask for

What is next follows from what is stored, in this order: to stop where the report says so, a finding that nobody examined, a test to repeat, a baseline that lacks, a scan that is due by
the shop's own interval (again_months). Nothing here judges a plate.
"""

import calendar
import datetime as dt
from collections.abc import Sequence
from functools import cached_property, lru_cache
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from tapscan.places import CHECKLIST, State
from tapscan.register.database import Register
from tapscan.register.entries import IN_IRON
from tapscan.register.glance import Glance, glance
from tapscan.register.names import plain_key
from tapscan.register.on_record import PlateOnRecord, noted_on_record, plate_on_record
from tapscan.screening.disposition import CONFIRMED
from tapscan.screening.next_steps import CALL_FOR_BARE, of_lines, stopped
from tapscan.screening.open_findings import EXAMINED, EYE_RULE, OpenFinding
from tapscan.screening.played_notes import NO_ANSWER
from tapscan.screening.short_steps import in_short, look_in_short, repeat_in_short
from tapscan.screening.step import Step
from tapscan.workflow.as_listed import QUIET, heading_now
from tapscan.workflow.baseline import ENOUGH, TELLS
from tapscan.workflow.defaults import read_defaults
from tapscan.workflow.still_open import plate_steps, record_opened, state_now

Kind = Literal["look", "repeat", "baseline", "due"]
KINDS: dict[Kind, str] = {
    "look": "something to look at",
    "repeat": "to be repeated",
    "baseline": "fewer than three baseline scans",
    "due": "due again",
}


class Line(Struct, frozen=True):
    """One plate."""

    glance: Glance
    next: str
    kinds: frozenset[Kind]
    seen: str = ""  # what the eye saw and nobody has explained
    first: str = ""  # of `next` what forbids the rest
    record: PlateOnRecord | None = None  # where something is noted by which its scans may say something else by now


class Standing(Struct, frozen=True, dict=True):
    """What is open of a plate, and the steps that this asks for; `steps` : else those of its newest scan."""

    opened: tuple[OpenFinding, ...]
    suspected: bool
    steps: tuple[Step, ...]

    @cached_property
    def first(self) -> str:
        """In short; empty where the work may go on."""
        return in_short(self.steps, examined=self.suspected and not self.waiting)

    @cached_property
    def stop(self) -> bool:
        """Whether the plate is to be left as it is."""
        return stopped(self.steps)

    @cached_property
    def waiting(self) -> bool:
        """Whether something that is open was not examined yet."""
        return any(o.rule != EXAMINED and not o.outcomes for o in self.opened)


def lines(register: Register, *, retired: bool = False) -> list[Line]:
    """`retired` : those too."""
    months = read_defaults(register.folder).again_months
    today = dt.date.today()
    every = glance(register, QUIET, retired=retired)
    records = noted_on_record(register, [g.plate for g in every if g.loud or (g.flawed and g.state is None)])
    return [_line(register, g, records.get(g.plate), int(months) if months else None, today) for g in every]


def next_of(register: Register, plate: str | None = None) -> dict[str, str]:
    """By plate: what comes first where the work cannot simply go on; for lists that are not the shop's."""
    if plate is None:
        return {line.glance.plate: line.first for line in lines(register, retired=True) if line.first}
    record = plate_on_record(register, plate)
    now = standing_of(register, record)
    return {record.plate: now.first} if now.first else {}


def as_they_stand(register: Register, chosen: Sequence[Line]) -> list[Line]:
    """With the words of their newest scans as they are by now: of the lines that are shown."""
    return [replace(line, glance=_as_it_stands(register, line.glance, line.record)) for line in chosen]


def _as_it_stands(register: Register, g: Glance, record: PlateOnRecord | None) -> Glance:
    if record is None and g.flawed and g.played:  # keys that were played say something else than taps
        record = plate_on_record(register, g.plate)
    if record and record.scans:
        now = heading_now(register, record, record.scans[-1])
        return replace(g, headline=now.headline, disposition=now.disposition)
    return replace(g, headline=CONFIRMED) if g.flawed else g


def _line(register: Register, g: Glance, record: PlateOnRecord | None, months: int | None, today: dt.date) -> Line:
    due = months_later(g.date, months) if g.date and months else None
    now = _standing(register, g, record)
    told = _told(g, now, due, today)
    comes = told.get("look") or now.first or next(iter(told.values()), _later(due))
    return Line(g, comes, frozenset(told), _seen(now.opened), told.get("look") or now.first, record)


def standing_of(register: Register, record: PlateOnRecord, state: State | None = None) -> Standing:
    """By what is open; where nothing is, by the steps of the newest scan as it stands. `state` : told by now; else the newest that is noted."""
    opened = record_opened(record, state)
    if steps := plate_steps(opened, state or state_now(record)):
        return Standing(opened, True, steps)
    if not record.scans:
        return Standing(opened, False, ())
    now = heading_now(register, record, record.scans[-1]).next_steps
    return Standing(opened, False, of_lines(record.scans[-1].next_steps if now is None else now))


def _standing(register: Register, g: Glance, record: PlateOnRecord | None) -> Standing:
    if record:
        return standing_of(register, record)
    return _of_flaw(g.state) if g.flawed else _of_quiet(g.next_steps)


@lru_cache(maxsize=64)
def _of_flaw(state: State | None) -> Standing:
    """Many plates stand alike."""
    return Standing((FLAW,), True, plate_steps((FLAW,), state))


@lru_cache(maxsize=64)
def _of_quiet(next_steps: tuple[str, ...]) -> Standing:
    """By the lines that were stored with the newest scan."""
    return Standing((), False, of_lines(next_steps))


FLAW = OpenFinding("", "", EXAMINED, "")  # of which no more is asked than that it is there


def _seen(opened: Sequence[OpenFinding]) -> str:
    """Of the newest day."""
    found = next((o for o in opened if o.rule == EYE_RULE), None)
    if found is None:
        return ""
    return f"Seen by eye on {found.date}: {CHECKLIST[IN_IRON] if CHECKLIST[IN_IRON] in found.sentence else 'what may be a crack'}."


def _told(g: Glance, now: Standing, due: dt.date | None, today: dt.date) -> dict[Kind, str]:
    """Most urgent first. Where the plate may not be tapped nothing is asked for that taps it."""
    told: dict[Kind, str] = {}
    days = [dt.date.fromisoformat(o.date) for o in now.opened if o.rule == EYE_RULE and not o.outcomes]
    newest = max(filter(None, [g.found_on, *days]), default=None)
    unexamined = newest is not None and (g.outcome is None or not g.outcome.not_before(newest))
    flawed = any(o.rule == EXAMINED for o in now.opened)  # examined already, and somebody has to decide
    if now.stop or now.waiting or unexamined or flawed:
        told["look"] = look_in_short(now.steps)
    if now.stop:
        return told
    again = not now.suspected and CALL_FOR_BARE not in now.steps
    if (
        again and g.disposition == "inconclusive" and not (g.played and g.headline != NO_ANSWER)
    ):  # notes never say more than that
        told["repeat"] = repeat_in_short(now.steps)
    if lacks := "" if now.suspected else _lacks(g):  # else first comes what is still open, as the plate's own page says
        told["baseline"] = lacks
    if due is not None and due <= today:
        told["due"] = f"Due again since {due.isoformat()}."
    return told


def _lacks(g: Glance) -> str:
    """Of baseline scans."""
    if g.baselines:
        return f"{TELLS}." if g.baselines < ENOUGH else ""
    return (
        "No scan of it is its baseline yet: make one of them that, or scan it again."
        if g.scans
        else "Scan it: it has no baseline yet."
    )


def _later(due: dt.date | None) -> str:
    return f"Scan it again by {due.isoformat()}." if due else ""


def months_later(day: dt.date, months: int) -> dt.date:
    """The same day of a later month, or its last day."""
    year, month = divmod(day.month - 1 + months, 12)
    year, month = day.year + year, month + 1
    return dt.date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def chosen(every: Sequence[Line], words: str, kind: str) -> list[Line]:
    """Accents and capitals do not matter."""
    wanted = plain_key(words).split()
    found = [line for line in every if all(w in _key(line.glance) for w in wanted)]
    return [line for line in found if kind in line.kinds] if kind else found


def _key(g: Glance) -> str:
    return plain_key(" ".join(filter(None, [g.plate, g.pattern, g.serial])))
