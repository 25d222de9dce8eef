"""What a screening says when all is known: indications, comparison, and what is still open from earlier scans.

conclude(screening, settings, opened)    the Screening with disposition, headline, summary and steps anew
"""

from collections.abc import Sequence
from dataclasses import replace

from tapscan.records import Screening
from tapscan.report.reach import single_scan_misses
from tapscan.screening.disposition import dispose, not_compared, silent_recordings
from tapscan.screening.next_steps import LATER, stopped
from tapscan.screening.open_findings import OpenFinding
from tapscan.settings import Settings


def conclude(screening: Screening, settings: Settings, opened: Sequence[OpenFinding] = ()) -> Screening:
    """From the indications and the comparison that the screening holds."""
    outcome = dispose(screening.scan, screening.indications, silent_recordings(screening.scan), settings, opened)
    refused = screening.comparison.rules_not_run if screening.comparison else ()
    if refused:
        outcome = not_compared(outcome, refused[0].reason)
    summary = outcome.summary
    if outcome.disposition == "no relevant indication" and (screening.comparison is None or refused):
        summary = f"{summary} {single_scan_misses(screening.settings_sha256)}"
    later = (LATER,) if stopped(outcome.steps) and LATER not in screening.limitations else ()
    return replace(
        screening,
        limitations=(*later, *screening.limitations),
        disposition=outcome.disposition,
        headline=outcome.headline,
        summary=summary,
        next_steps=outcome.next_steps,
    )
