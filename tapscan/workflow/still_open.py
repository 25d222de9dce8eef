"""What is still open from a plate's earlier scans, read from the register.

open_findings(register, plate, before, now, entry)   OpenFinding after OpenFinding, newest first
"""

import datetime as dt
from collections.abc import Sequence

from tapscan.records import Disposition, Indication, Screening
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry
from tapscan.register.results import load_indications
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
    said = load_indications(register, [e.current.id for e in entries])
    past = [_past(e, e.current.disposition, said[e.current.id]) for e in entries]
    here = None
    if now:
        silent = PastScan("", "", now.disposition, _relevant(now.indications))
        here = _past(entry, now.disposition, now.indications) if entry else silent
    return still_open(past, here)


def _past(entry: ScanEntry, disposition: Disposition, indications: Sequence[Indication]) -> PastScan:
    return PastScan(
        entry.name,
        entry.date.isoformat(),
        disposition,
        _relevant(indications),
        tuple(o.told for o in entry.outcomes),
        any(o.part for o in entry.outcomes),
        tuple(o.told for o in entry.flaws),
    )


def _relevant(indications: Sequence[Indication]) -> tuple[Indication, ...]:
    return tuple(i for i in indications if i.interpretation == "relevant")
