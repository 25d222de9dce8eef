"""A scan is crossed out: its taps do not count, but what the eye saw that day, and where the plate was, stays.

cross_out(register, name, why, on)   the scan, and in sentences what that closes and what stays
"""

import datetime as dt

from tapscan.register.corrections import void_scan
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry, suspects
from tapscan.register.on_record import plate_on_record
from tapscan.register.scans import find_scan
from tapscan.wording import argument, listed
from tapscan.workflow.still_open import no_longer_open, record_opened, unexplained


def cross_out(register: Register, name: str, why: str, on: dt.date) -> tuple[ScanEntry, list[str]]:
    """Raises as void_scan."""
    before = record_opened(plate_on_record(register, find_scan(register, name).plate))
    entry = void_scan(register, name, why, on)
    record = plate_on_record(register, entry.plate)
    told = [no_longer_open(before, record_opened(record))]
    mine = next(s for s in record.crossed_out if s.id == entry.id)
    if seen := suspects(unexplained(mine, record.every)):
        told.append(
            f"What the eye saw that day stays: {listed(seen)}. If that was another plate: `tapscan scan move {argument(entry.name)} PLATE`, "
            f"or take it back: `tapscan scan edit {argument(entry.name)} --not-seen all --mistake WHY`"
        )
    return entry, [one for one in told if one]
