"""`tapscan check`: screen recordings on their own."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from tapscan.cli.kept import Kept
from tapscan.cli.options import HELD, PARTIAL, SHOP
from tapscan.cli.states import read_state
from tapscan.errors import BadRequest
from tapscan.places import STATES

if TYPE_CHECKING:
    from tapscan.workflow.check import Request

STRICT_STATUS = {"relevant indication": 3, "inconclusive": 4}


def check(
    files: Annotated[list[str], typer.Argument(help="Recordings: WAV, FLAC, AIFF, OGG, MP3, M4A/AAC.")],
    state: Annotated[
        Optional[str], typer.Option(help=f"State of the plate: {', '.join(STATES)}.")  # noqa: UP045
    ] = None,
    layout: Annotated[
        Optional[str], typer.Option(help="Layout name (tapscan layout list) or a .toml file.")  # noqa: UP045
    ] = None,
    per_station: Annotated[
        Optional[int], typer.Option(min=1, help="How many taps each station got.")  # noqa: UP045
    ] = None,
    order: Annotated[
        Optional[str], typer.Option(help="Force of the taps at each station: soft,soft,hard,hard.")  # noqa: UP045
    ] = None,
    json: Annotated[
        Optional[str], typer.Option(metavar="FILE|-", help="Write everything as JSON; - for standard output.")  # noqa: UP045
    ] = None,
    report: Annotated[
        Optional[Path], typer.Option(metavar="FILE.html", help="Write the page a person can read.")  # noqa: UP045
    ] = None,
    settings: Annotated[
        Optional[Path], typer.Option(metavar="FILE.toml", help="Thresholds that overlay the defaults.")  # noqa: UP045
    ] = None,
    shop: SHOP = None,
    held: HELD = False,
    partial: PARTIAL = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit 3 for a relevant indication, 4 for inconclusive.")
    ] = False,
) -> None:
    """Screen recordings of taps on their own, without a register.

    One file is one station (its name before the first "_"); one long file is split at its pauses with
    --layout or --per-station.
    """
    from tapscan.cli.progress import progress_line
    from tapscan.cli.summary import print_summary
    from tapscan.cli.writing import write_out
    from tapscan.workflow.check import check as screen
    from tapscan.workflow.report import read_shop

    kept = Kept()
    layout, order = kept.taps(layout, order, per_station)
    shop = kept.shop(shop) if report else None
    kept.tell()
    head = read_shop(shop) if shop else None
    request = request_of(
        state, layout, per_station, order, settings, pictures=report is not None, held=held, partial=partial
    )
    with progress_line() as progress:
        result = screen(files, request, progress)
    for line in result.unreadable:
        typer.echo(f"tapscan: {line}", err=True)
    if result.screening is None:
        raise typer.Exit(1)
    written = write_out(result.screening, json, report, head)
    if json != "-":
        print_summary(result.screening, report if written else None)
    if result.unreadable or not written:
        raise typer.Exit(1)
    if strict:
        raise typer.Exit(STRICT_STATUS.get(result.screening.disposition, 0))


def request_of(
    state: str | None,
    layout: str | None,
    per_station: int | None,
    order: str | None,
    settings: Path | None,
    *,
    pictures: bool,
    held: bool = False,
    partial: bool = False,
) -> "Request":
    """What the options say, as the workflow takes it; raises BadRequest where they contradict each other."""
    from tapscan.workflow.check import Request
    from tapscan.workflow.layout import read_layout, read_order
    from tapscan.workflow.settings import read_settings

    forces = read_order(order) if order else None
    if forces and per_station and len(forces) != per_station:
        raise BadRequest(f"--order names {len(forces)} taps and --per-station {per_station}; leave one of them out")
    return Request(
        settings=read_settings(settings),
        layout=read_layout(layout) if layout else None,
        state=read_state(state),
        per_station=per_station,
        order=forces,
        pictures=pictures,
        parts_held=held,
        partial=partial,
    )
