"""What the eye saw that may be a crack: on the scan's own list, and on a visit of the same day.

eye_of(register, plate, date, checklist)   in words
seen_that_day(record, date, checklist)     the same of what was read of the plate already, and of it what was seen in the iron itself
may_be_tapped(register, plate, facts)      raises BadRequest where it may not
may_go_on(register, unfinished)            the same of a recording that was stopped: the eye may have seen something since
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

from tapscan.errors import BadRequest
from tapscan.places import REGIONS
from tapscan.register.database import Register
from tapscan.register.entries import IN_IRON, Finding, NewScan, Unfinished, in_iron, suspects
from tapscan.register.on_record import PlateOnRecord, plate_on_record
from tapscan.register.plates import find_plate
from tapscan.screening.next_steps import TENSION
from tapscan.wording import listed


def eye_of(register: Register, plate: str, date: dt.date, checklist: Sequence[Finding]) -> tuple[str, ...]:
    """A report on the taps must not say less than the visit."""
    return seen_that_day(plate_on_record(register, plate), date, checklist, flawed=True)[0]


def seen_that_day(
    record: PlateOnRecord, date: dt.date, checklist: Sequence[Finding], *, flawed: bool = False
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """All of it, and what was seen in the iron itself, which counts out of the piano too; `checklist` : of the scan; `flawed` : also where an examination found a flaw, which is told by itself."""
    looks = [look for v in record.visits if v.date == date for look in v.suspects if flawed or not look.flaws]
    own = tuple(checklist)
    told = {look.region: f"{REGIONS[look.region]}: {look.told}" for look in looks}
    iron = [told[look.region] for look in looks if IN_IRON in look.signs]
    return (*suspects(own), *told.values()), (*in_iron(own), *iron)


def may_be_tapped(register: Register, plate: str, facts: NewScan) -> None:
    """A plate under tension, or of which nobody says that it is not, is not tapped where the eye saw what may be a crack."""
    if facts.conditions.state not in TENSION | {None}:
        return
    if seen := eye_of(register, find_plate(register, plate, exact=True).name, facts.date, facts.checklist):
        raise BadRequest(
            f"what was seen on {facts.date.isoformat()} may be a crack ({listed(seen, 3)}): do not tap this plate and play no key; a qualified person looks first. "
            "What came of it is noted in the visit or on the list, then tapping goes on"
        )


def may_go_on(register: Register, unfinished: Unfinished) -> None:
    """By what was seen on the day it was begun, and today."""
    for day in dict.fromkeys((unfinished.facts.date, dt.date.today())):
        may_be_tapped(register, unfinished.plate, replace(unfinished.facts, date=day))
