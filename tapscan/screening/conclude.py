"""What a screening says when all is known: indications, comparison, and what is still open from earlier scans.

concluded(screening, settings, opened, eye, iron)   the Screening with disposition, headline, summary and steps anew
"""

from collections.abc import Sequence

from msgspec.structs import replace

from tapscan.records import Screening
from tapscan.screening.disposition import (
    EYE,
    NOTHING,
    OPEN,
    SEEN_BY_EYE,
    STANDS,
    Outcome,
    compared_in_piano,
    dispose,
    doubtful,
    left_open,
    not_compared,
    silent_recordings,
)
from tapscan.screening.next_steps import LATER, stopped
from tapscan.screening.open_findings import OpenFinding
from tapscan.screening.plain_words import EYE_TOO, headline, in_plain_words
from tapscan.screening.rule import Plain
from tapscan.screening.spared_checks import spared
from tapscan.settings import Settings


def concluded(
    screening: Screening,
    settings: Settings,
    opened: Sequence[OpenFinding] = (),
    eye: Sequence[str] = (),
    iron: Sequence[str] = (),
    *,
    examined: bool = False,
    unread: bool = False,
) -> Screening:
    """From the indications and the comparison that the screening holds; `opened`, `eye`, `iron` and `examined` as in dispose; `unread` : see spared_checks."""
    silent = silent_recordings(screening.scan)
    said = (opened, eye, screening.rules_not_run, iron)
    outcome = dispose(screening.scan, screening.indications, silent, settings, *said, examined=examined)
    if screening.comparison and screening.comparison.rules_not_run:
        outcome = not_compared(outcome, screening.comparison.rules_not_run[0].reason)
    if screening.comparison and screening.comparison.undecided:
        outcome = left_open(outcome, screening.comparison.undecided, screening.scan.state)
    around = screening.comparison.around if screening.comparison else None
    if screening.comparison and around and not screening.comparison.rules_not_run:
        outcome = compared_in_piano(outcome, screening.comparison.summary, around, screening.scan.state)
    compared = screening.comparison.good_news if screening.comparison else None
    if compared and outcome.headline in (NOTHING, STANDS, OPEN, EYE):
        outcome = replace(outcome, summary=f"{compared} {outcome.summary}")
    outcome = spared(outcome) if unread else outcome
    outcome = doubtful(outcome, screening.doubts) if screening.doubts else outcome
    plain = in_plain_words(replace(screening, headline=outcome.headline))
    later = (LATER,) if stopped(outcome.steps) and LATER not in screening.limitations else ()
    return replace(
        screening,
        limitations=(*later, *screening.limitations),
        disposition=outcome.disposition,
        headline=headline(plain, outcome.headline),
        lead=_lead(plain, outcome),
        summary=outcome.summary,
        next_steps=outcome.next_steps,
    )


def _lead(plain: Plain, outcome: Outcome) -> str:
    """What was seen stands in the first words even where something was heard, too."""
    first = f"{plain.first} {plain.means}"
    return f"{first} {EYE_TOO}" if SEEN_BY_EYE in outcome.summary and "the eye saw" not in first else first
