"""What is still open from a plate's earlier scans, read from the register.

open_findings(register, plate, before, now)   OpenFinding after OpenFinding, newest first
"""

import datetime as dt

from tapscan.records import Indication, Screening
from tapscan.register.database import Register
from tapscan.register.entries import Outcome, ScanEntry
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.screening.open_findings import OpenFinding, PastScan, still_open

__all__ = ["OpenFinding", "open_findings"]


def open_findings(
    register: Register, plate: str, before: tuple[dt.date, int] | None = None, now: Screening | None = None
) -> tuple[OpenFinding, ...]:
    """Of the scans before that day and number, or of all.

    now : the scan at hand, as it reads beside its baseline; a silent one counts as one of the silent scans
    """
    entries = [e for e in list_scans(register, plate) if before is None or (e.date, e.number) < before]
    past = [_past(e, load_screening(register, e.current.id)) for e in entries]
    here = PastScan("", "", now.disposition, _relevant(now)) if now else None
    return still_open(past, here)


def _past(entry: ScanEntry, screening: Screening) -> PastScan:
    return PastScan(
        entry.name,
        entry.date.isoformat(),
        screening.disposition,
        _relevant(screening),
        tuple(_in_words(o) for o in entry.outcomes),
        any(o.part for o in entry.outcomes),
    )


def _relevant(screening: Screening) -> tuple[Indication, ...]:
    return tuple(i for i in screening.indications if i.interpretation == "relevant")


def _in_words(outcome: Outcome) -> str:
    return f"{outcome.found} ({outcome.method}, by {outcome.by_whom}, {outcome.on.isoformat()})"
