"""What a screening says when all is known: indications, comparison, and what is still open from earlier scans.

concluded(screening, settings, opened)   the Screening with disposition, headline, summary and steps anew
"""

from collections.abc import Sequence
from dataclasses import replace

from tapscan.records import Screening
from tapscan.screening.disposition import dispose, doubtful, not_compared, silent_recordings
from tapscan.screening.next_steps import LATER, stopped
from tapscan.screening.open_findings import OpenFinding
from tapscan.settings import Settings


def concluded(screening: Screening, settings: Settings, opened: Sequence[OpenFinding] = ()) -> Screening:
    """From the indications and the comparison that the screening holds."""
    outcome = dispose(screening.scan, screening.indications, silent_recordings(screening.scan), settings, opened)
    if screening.comparison and screening.comparison.rules_not_run:
        outcome = not_compared(outcome, screening.comparison.rules_not_run[0].reason)
    outcome = doubtful(outcome, screening.doubts) if screening.doubts else outcome
    later = (LATER,) if stopped(outcome.steps) and LATER not in screening.limitations else ()
    return replace(
        screening,
        limitations=(*later, *screening.limitations),
        disposition=outcome.disposition,
        headline=outcome.headline,
        summary=outcome.summary,
        next_steps=outcome.next_steps,
    )
