"""A scan that was given to another plate, or day, is read anew beside the plate's scans.

read_moved(register, entry, settings, workers)   Moved: what came of it
entry_of(kept)                                   the scan that was read anew
"""

from msgspec import Struct

from tapscan.errors import BadRequest, TapscanError
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry
from tapscan.settings import Settings
from tapscan.workers import ALONE, Workers
from tapscan.workflow.import_scan import Kept, rescreen


class Moved(Struct, frozen=True):
    """`kept` is None where it is crossed out, which is not read, or could not be read; the move stands all the same."""

    told: str  # in a sentence
    kept: Kept | None = None
    failed: bool = False


def read_moved(register: Register, entry: ScanEntry, settings: Settings, workers: Workers = ALONE) -> Moved:
    """`entry` : as it is called now. Whose it is, is asked anew: what was made sure before was said of another plate."""
    last = entry.moves[-1]
    told = f"It is a scan of {entry.plate} now" if last.of_another_plate else f"It is of {entry.date} now"
    if entry.crossed_out:
        return Moved(f"{told}.")
    try:
        kept = rescreen(register, entry.name, settings, workers)
        entry_of(kept)
    except TapscanError as problem:
        return Moved(f"{told}. It could not be read anew beside its scans: {problem}", failed=True)
    return Moved(f"{told}, and was read anew beside its scans.", kept)


def entry_of(kept: Kept) -> ScanEntry:
    """Raises BadRequest where its recordings could not be read."""
    if kept.entry is None:
        raise BadRequest("; ".join(kept.unreadable) or "nothing was changed")
    return kept.entry
