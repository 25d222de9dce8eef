"""The conclusion of a screening, with what a single scan misses as the benches counted it.

conclude(screening, settings, opened, eye, iron)   screening.conclude, and the sentence where nothing was compared and nothing found
"""

from collections.abc import Sequence

from msgspec.structs import replace

from tapscan.records import Screening
from tapscan.report.error_rates import single_scan_misses
from tapscan.screening.conclude import concluded
from tapscan.screening.open_findings import OpenFinding
from tapscan.settings import Settings


def conclude(
    screening: Screening,
    settings: Settings,
    opened: Sequence[OpenFinding] = (),
    eye: Sequence[str] = (),
    iron: Sequence[str] = (),
    *,
    examined: bool = False,
    unread: bool = False,
) -> Screening:
    """`opened`: findings of the plate's earlier scans (workflow/still_open.py); `eye`: what was seen that may be a crack; `iron`: of that what is in the iron itself; `examined`: an examination that followed this scan found a flaw; `unread`: it was read as one in the piano, and was none."""
    told = concluded(screening, settings, opened, eye, iron, examined=examined, unread=unread)
    compared = screening.comparison is not None and not screening.comparison.rules_not_run
    if compared or told.disposition != "no relevant indication":
        return told
    return replace(told, summary=f"{told.summary} {single_scan_misses(told.limits_sha256)}")
