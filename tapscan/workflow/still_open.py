"""What is still open from a plate's earlier scans, read from the register.

open_findings(register, plate, before, now, entry)   OpenFinding after OpenFinding, newest first
"""

import datetime as dt

from tapscan.records import Indication, Screening
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.screening.open_findings import EXAMINED, OpenFinding, PastScan, still_open

__all__ = ["EXAMINED", "OpenFinding", "open_findings"]


def open_findings(
    register: Register,
    plate: str,
    before: tuple[dt.date, int] | None = None,
    now: Screening | None = None,
    entry: ScanEntry | None = None,
) -> tuple[OpenFinding, ...]:
    """Of the scans before that day and number, or of all.

    now : the scan at hand, as it reads beside its baseline; a silent one counts as one of the silent scans
    entry : of the scan at hand, where it is stored already: what came of it counts too
    """
    entries = [e for e in list_scans(register, plate) if before is None or (e.date, e.number) < before]
    past = [_past(e, load_screening(register, e.current.id)) for e in entries]
    here = None
    if now:
        here = _past(entry, now) if entry else PastScan("", "", now.disposition, _relevant(now))
    return still_open(past, here)


def _past(entry: ScanEntry, screening: Screening) -> PastScan:
    return PastScan(
        entry.name,
        entry.date.isoformat(),
        screening.disposition,
        _relevant(screening),
        tuple(o.told for o in entry.outcomes),
        any(o.part for o in entry.outcomes),
        tuple(o.told for o in entry.flaws),
    )


def _relevant(screening: Screening) -> tuple[Indication, ...]:
    return tuple(i for i in screening.indications if i.interpretation == "relevant")
