"""Findings of earlier scans that nobody has cleared, for `compare` and `history`.

print_open(findings)   to standard output, figures last; nothing where none is open
say_next(register, plate, otherwise)   what comes first on the plate, as its report says
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from tapscan.workflow.register import Register
    from tapscan.workflow.still_open import ToldFinding


def print_open(findings: "Sequence[ToldFinding]") -> None:
    """Each with its scan and what was examined since."""
    from tapscan.cli.bullets import bullet, console
    from tapscan.workflow.still_open import EXAMINED, EYE_RULE

    if not findings:
        return
    out = console()
    out.print("\nStill open", style="bold")
    for f in findings:
        figures = f"In figures: {f.figures}" if f.figures else ""
        out.print(bullet(" ".join(filter(None, [f"{f.finding.scan}: {f.plain}", f.examined, f.waits, figures]))))
    if all(f.finding.rule in (EXAMINED, EYE_RULE) for f in findings):
        return
    out.print(
        bullet(
            "A finding that goes away is not cleared: name the part that caused it (scan outcome --part); two scans must then be silent."
        )
    )


def say_next(register: "Register", plate: str, otherwise: str = "") -> None:
    """`otherwise` : said too, unless the plate is to be left as it is."""
    from tapscan.workflow.at_a_glance import standing_of
    from tapscan.workflow.still_open import plate_on_record

    now = standing_of(register, plate_on_record(register, plate))
    if now.first:
        typer.echo(f"Next: {now.first}")
    if otherwise and not now.stop:
        typer.echo(otherwise)
