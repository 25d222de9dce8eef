"""Findings of earlier scans that nobody has cleared, for `compare` and `history`.

print_open(findings)   to standard output, figures last; nothing where none is open
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tapscan.workflow.still_open import ToldFinding


def print_open(findings: "Sequence[ToldFinding]") -> None:
    """Each with its scan and what was examined since."""
    from tapscan.cli.bullets import bullet, console
    from tapscan.workflow.still_open import EXAMINED

    if not findings:
        return
    out = console()
    out.print("\nStill open", style="bold")
    for f in findings:
        figures = f"In figures: {f.figures}" if f.figures else ""
        out.print(bullet(" ".join(filter(None, [f"{f.finding.scan}: {f.plain}", f.examined, f.waits, figures]))))
    if all(f.finding.rule == EXAMINED for f in findings):
        return
    out.print(
        bullet(
            "A finding that goes away is not cleared: name the part that caused it (scan outcome --part); two scans must then be silent."
        )
    )
