"""`tapscan check`: screen recordings on their own."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tapscan.cli import options as o
from tapscan.cli.groups import grouped
from tapscan.cli.kept import Kept
from tapscan.cli.states import read_state
from tapscan.cli.taps import Taps

if TYPE_CHECKING:
    from tapscan.workflow.check import CheckResult

STRICT_STATUS = {"relevant indication": 3, "inconclusive": 4}


@grouped
def check(
    files: Annotated[list[str], typer.Argument(help="Recordings: WAV, FLAC, AIFF, OGG, MP3, M4A/AAC.")],
    state: o.STATE = None,
    taps: Taps = Taps(),
    json: o.JSON = None,
    report: o.REPORT = None,
    settings: o.SETTINGS = None,
    shop: o.SHOP = None,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit 3 for a relevant indication, 4 for inconclusive.")
    ] = False,
) -> None:
    """Screen recordings of taps on their own, without a register.

    One file is one station (its name before the first "_"); one long file is split at its pauses with
    --layout or --per-station.
    """
    from tapscan.cli.progress import progress_line
    from tapscan.workflow.check import check as screen

    kept = Kept()
    taps = taps.filled(kept)
    shop = kept.shop(shop) if report else None
    kept.tell()
    request = taps.request(settings, read_state(state), pictures=report is not None)
    with progress_line() as progress:
        result = screen(files, request, progress)
    _show(result, json, report, shop, strict)


def _show(result: "CheckResult", json: str | None, report: Path | None, shop: Path | None, strict: bool) -> None:
    """On the screen, into the files asked for, and as the exit status."""
    from tapscan.cli.summary import print_summary
    from tapscan.cli.writing import write_out
    from tapscan.workflow.report import read_shop

    for line in result.unreadable:
        typer.echo(f"tapscan: {line}", err=True)
    if result.screening is None:
        raise typer.Exit(1)
    written = write_out(result.screening, json, report, read_shop(shop) if shop else None)
    if json != "-":
        print_summary(result.screening, report if written else None)
    if result.unreadable or not written:
        raise typer.Exit(1)
    if strict:
        raise typer.Exit(STRICT_STATUS.get(result.screening.disposition, 0))
