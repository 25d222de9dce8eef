"""`tapscan report`: the page of a stored scan."""

from pathlib import Path
from typing import Annotated, Optional

import typer

from tapscan.cli import options as o


def report(
    scan: o.SCAN,
    out: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option(metavar="FILE.html", help="Where the page goes; else PLATE_DATE.html in this folder."),
    ] = None,
    register: o.REGISTER = None,
) -> None:
    """Write the page of a stored scan: findings, comparison, checklist, outcomes, figures. It needs no network."""
    from tapscan.errors import BadRequest
    from tapscan.workflow.tell import write_report

    try:
        written = write_report(o.opened(register), scan, out)
    except OSError as problem:
        raise BadRequest(
            f"{out or 'the page'} cannot be written: {problem.strerror}; give another place with --out"
        ) from None
    typer.echo(f"The page to read and to keep: {written}")
