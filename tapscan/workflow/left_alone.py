"""Whether a plate may be tapped, or its keys played, now. Where it is to be left as it is, only where a qualified person has allowed it.

stop_of(register, plate, state)                    Standing of a plate that is to be left as it is, else None
still_stopped(register, unfinished)                the same of a recording that rests; None where all that is open was allowed before
may_be_tapped(register, plate, facts, allowed_by)  Leave to begin with; raises BadRequest where it may not
may_go_on(register, unfinished, allowed_by)        the same of a recording that was stopped: more may have been found since

Who allowed it is kept in the scan's notes, and only where it was needed.
"""

import datetime as dt

from msgspec import Struct
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.places import State
from tapscan.register.database import Register
from tapscan.register.entries import NewScan
from tapscan.register.on_record import PlateOnRecord, plate_on_record
from tapscan.register.plates import find_plate
from tapscan.register.recording_entries import Unfinished
from tapscan.register.unfinished import change_begun
from tapscan.screening.step import OUT, TENSION
from tapscan.wording import listed
from tapscan.workflow.at_a_glance import Standing, standing_of
from tapscan.workflow.eye import seen_that_day

ALLOWED = "allowed"  # in a recording's plan: what was open when a qualified person allowed it
SAY_SO = "If a qualified person has allowed this scan, say so: --allowed-by NAME"


class Leave(Struct, frozen=True):
    """What a recording is begun with."""

    facts: NewScan  # with who allowed it in its notes
    open: tuple[str, ...] = ()  # in spite of what


class _Against(Struct, frozen=True):
    """What speaks against tapping. `seen` : on that day, in words."""

    plate: str
    seen: tuple[str, ...]
    stop: Standing | None

    @property
    def open(self) -> tuple[str, ...]:
        """Names of it; where the newest scan stops the plate by itself, its step."""
        return (*self.seen, *(_open(self.stop) if self.stop else ()))

    def leave(self, facts: NewScan, allowed_by: str | None) -> Leave:
        """Raises BadRequest where nobody has allowed it."""
        if not self.open:
            return Leave(facts)
        if not allowed_by:
            raise BadRequest(self._refused(facts.date))
        told = f"{self.plate} was to be left as it is; this scan was allowed by {allowed_by}."
        return Leave(replace(facts, notes=" ".join(filter(None, [facts.notes, told]))), self.open)

    def _refused(self, on: dt.date) -> str:
        if self.seen:
            return (
                f"what was seen on {on.isoformat()} may be a crack ({listed(self.seen, 3)}): do not tap this plate and play no key; a qualified person looks first. "
                f"What came of it is noted in the visit or on the list, then tapping goes on. {SAY_SO}"
            )
        return f"{self.plate} is to be left as it is, and no key is to be played. {self.stop.first if self.stop else ''} {SAY_SO}"


def stop_of(register: Register, plate: str, state: State | None = None) -> Standing | None:
    """`state` : as it is told now; else the newest that is noted."""
    return _stop(register, plate_on_record(register, plate), state)


def _stop(register: Register, record: PlateOnRecord, state: State | None) -> Standing | None:
    """What is out of the piano by now may be tapped."""
    now = None if state is not None and state in OUT else standing_of(register, record, state)
    return now if now and now.stop else None


def _open(stop: Standing) -> tuple[str, ...]:
    return tuple(f"{o.scan}: {o.rule}" for o in stop.opened) or (stop.first,)


def still_stopped(register: Register, unfinished: Unfinished) -> Standing | None:
    """By the state that was told when it was begun."""
    stop = stop_of(register, unfinished.plate, unfinished.facts.conditions.state)
    return None if stop is None or set(_open(stop)) <= set(unfinished.plan.get(ALLOWED, ())) else stop


def may_be_tapped(register: Register, plate: str, facts: NewScan, allowed_by: str | None = None) -> Leave:
    """`allowed_by` : the qualified person."""
    return _against(register, plate, facts).leave(facts, allowed_by)


def _against(register: Register, plate: str, facts: NewScan) -> _Against:
    """Where the plate may carry strings also all that the eye saw that day and may be a crack."""
    name, state = find_plate(register, plate, exact=True).name, facts.conditions.state
    record = plate_on_record(register, name)
    eye, _ = seen_that_day(record, facts.date, facts.checklist) if state in TENSION | {None} else ((), ())
    return _Against(name, eye, _stop(register, record, state))


def may_go_on(register: Register, unfinished: Unfinished, allowed_by: str | None = None) -> None:
    """By what was seen on the day it was begun, and today, and by what is open; what was allowed before is not asked again."""
    known = set(unfinished.plan.get(ALLOWED, ()))
    days = dict.fromkeys((dt.date.today(), unfinished.facts.date))
    told = {day: _against(register, unfinished.plate, replace(unfinished.facts, date=day)) for day in days}
    new = [(day, against) for day, against in told.items() if not set(against.open) <= known]
    if not new:
        return
    day, first = next((one for one in new if one[1].seen), new[0])  # what the eye saw is told where it saw something
    leave = first.leave(replace(unfinished.facts, date=day), allowed_by)
    every = sorted(known.union(*(against.open for _, against in new)))
    facts = replace(leave.facts, date=unfinished.facts.date)
    change_begun(register, unfinished.id, facts, {**unfinished.plan, ALLOWED: every})
