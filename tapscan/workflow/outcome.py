"""What an examination found is noted with a scan.

note_outcome(register, name, outcome)   the scan, and what is closed by it, in words: whoever notes it must see that he meant that
"""

from tapscan.register.database import Register
from tapscan.register.entries import Outcome, ScanEntry
from tapscan.register.on_record import plate_on_record
from tapscan.register.scans import add_outcome, find_scan
from tapscan.workflow.still_open import record_opened


def note_outcome(register: Register, name: str, outcome: Outcome) -> tuple[ScanEntry, str]:
    """Empty where it closes nothing. Raises as add_outcome."""
    plate = find_scan(register, name).plate
    before = record_opened(plate_on_record(register, plate))
    entry = add_outcome(register, name, outcome)
    still = {(o.scan, o.rule) for o in record_opened(plate_on_record(register, plate))}
    closed = [f"{o.scan}: {o.sentence}" for o in before if (o.scan, o.rule) not in still]
    return entry, f"No longer open: {' '.join(closed)}" if closed else ""
