"""The shop's plates in a line each, with what is to be done next.

    lines(register, retired)      Line after Line, by name
    chosen(lines, words, kind)    those whose name, pattern or serial number holds the words, and that are of that kind
    KINDS                         look, repeat, baseline, due: what a person may ask for

What is next follows from what is stored, in this order: a finding that nobody examined, a test to repeat, a baseline that lacks, a scan that is due by
the shop's own interval (again_months). Nothing here judges a plate.
"""

import calendar
import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from tapscan.places import CHECKLIST
from tapscan.register.database import Register
from tapscan.register.entries import IN_IRON
from tapscan.register.glance import Glance, glance
from tapscan.register.names import plain_key
from tapscan.screening.played_notes import NO_ANSWER
from tapscan.workflow.baseline import ENOUGH, TELLS
from tapscan.workflow.defaults import read_defaults

Kind = Literal["look", "repeat", "baseline", "due"]
KINDS: dict[Kind, str] = {
    "look": "something to look at",
    "repeat": "to be repeated",
    "baseline": "fewer than three baseline scans",
    "due": "due again",
}


@dataclass(frozen=True)
class Line:
    """One plate."""

    glance: Glance
    next: str
    kinds: frozenset[Kind]

    @property
    def seen(self) -> str:
        """What the eye saw in the iron and nobody has explained; empty where nothing."""
        on = self.glance.iron_on
        return f"Seen by eye on {on.isoformat()}: {CHECKLIST[IN_IRON]}." if on else ""


def lines(register: Register, *, retired: bool = False) -> list[Line]:
    """`retired` : those too."""
    months = read_defaults(register.folder).again_months
    today = dt.date.today()
    return [_line(g, int(months) if months else None, today) for g in glance(register, retired=retired)]


def _line(g: Glance, months: int | None, today: dt.date) -> Line:
    due = months_later(g.date, months) if g.date and months else None
    told = _told(g, due, today)
    return Line(g, next(iter(told.values()), _later(due)), frozenset(told))


def _told(g: Glance, due: dt.date | None, today: dt.date) -> dict[Kind, str]:
    """Most urgent first."""
    told: dict[Kind, str] = {}
    newest = max(filter(None, [g.found_on, g.iron_on]), default=None)
    if newest and (g.outcome is None or g.outcome.on < newest):
        told["look"] = "Have it examined, and note what was found."
    if g.disposition == "inconclusive" and not (g.played and g.headline != NO_ANSWER):  # notes never say more than that
        told["repeat"] = "Repeat the test."
    if g.baselines == 0:
        told["baseline"] = "Scan it: it has no baseline yet."
    elif g.baselines < ENOUGH:
        told["baseline"] = f"{TELLS}."
    if due is not None and due <= today:
        told["due"] = f"Due again since {due.isoformat()}."
    return told


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
