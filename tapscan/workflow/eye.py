"""What the eye saw that may be a crack: on the scan's own list, and on a visit of the same day.

eye_of(register, plate, date, checklist)   in words
"""

import datetime as dt
from collections.abc import Sequence

from tapscan.places import REGIONS
from tapscan.register.database import Register
from tapscan.register.entries import Finding, suspects
from tapscan.register.visits import visit_on


def eye_of(register: Register, plate: str, date: dt.date, checklist: Sequence[Finding]) -> tuple[str, ...]:
    """A report on the taps must not say less than the visit."""
    visit = visit_on(register, plate, date)
    seen = tuple(f"{REGIONS[look.region]}: {look.told}" for look in visit.suspects) if visit else ()
    return (*suspects(tuple(checklist)), *seen)
