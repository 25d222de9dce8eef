"""What the eye saw that may be a crack: on the scan's own list, and on a visit of the same day.

eye_of(register, plate, date, checklist)   in words
seen_that_day(record, date, checklist)     the same of what was read of the plate already, and of it what was seen in the iron itself
"""

import datetime as dt
from collections.abc import Sequence

from tapscan.places import REGIONS
from tapscan.register.database import Register
from tapscan.register.entries import IN_IRON, Finding, in_iron, suspects
from tapscan.register.on_record import PlateOnRecord, plate_on_record


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
