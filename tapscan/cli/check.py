"""`tapscan check`: screen recordings on their own."""

import datetime as dt
from collections.abc import Callable
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from msgspec.structs import replace

from tapscan.cli import options as o
from tapscan.cli.groups import grouped
from tapscan.cli.kept import Kept
from tapscan.cli.pattern_group import Pattern
from tapscan.cli.sharing import JOBS, progress_of
from tapscan.cli.states import read_state
from tapscan.cli.taps import Taps
from tapscan.workflow.sharing import bytes_of, shared_work

if TYPE_CHECKING:
    from tapscan.workflow.check import CheckResult
    from tapscan.workflow.write_report import Wish

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
    piano: Annotated[str, typer.Option(help="Which piano; stands at the head of the page.")] = "",
    date: Annotated[
        o.TEXT, typer.Option(metavar="DAY", help="When it was tapped; stands at the head of the page.")
    ] = None,
    full: o.FULL = False,
    beside: Pattern = Pattern(),
    strict: Annotated[
        bool, typer.Option("--strict", help="Exit 3 for a relevant indication, 4 for inconclusive.")
    ] = False,
    jobs: JOBS = None,
) -> None:
    """Screen recordings of taps on their own, without a register; with --pattern beside other plates of the pattern.

    One file is one station (its name before the first "_"); one long file is split at its pauses with
    --layout or --per-station.
    """
    with shared_work(jobs, bytes_of(files)) as workers:
        kept = Kept()
        taps = taps.filled(kept)
        shop = kept.shop(shop) if report else None
        kept.tell()
        on = o.day(date, "--date") if date else None
        told, pattern = read_state(state), beside.known()
        from tapscan.workflow.check import check as screen

        request = replace(taps.request(settings, told, pictures=report is not None), **_own(beside))
        with progress_of(workers):
            result = screen(files, request, workers, shown=_shown())
    if pattern and result.screening:
        result = replace(result, screening=beside.beside(result.screening, pattern, request.settings))
    _show(result, json, report, _wish(shop, full, piano, on) if report else None, strict)


def _shown() -> tuple[Callable[[], object], ...]:
    """What the screen needs sooner or later."""
    modules = (partial(import_module, name) for name in ("rich.table", "tapscan.cli.summary"))
    return (*modules, _numbers)


def _numbers() -> None:
    from tapscan.workflow.report import look_up_numbers

    look_up_numbers()


def _own(beside: Pattern) -> dict[str, Any]:
    """Of Request what is this command's alone."""
    return {"contact": beside.kind == "contact", "offers": frozenset({"partial"})}


def _wish(shop: Path | None, full: bool, piano: str, on: dt.date | None) -> "Wish":
    from tapscan.workflow.report import read_shop
    from tapscan.workflow.write_report import Wish

    return Wish(read_shop(shop) if shop else None, full=full, piano=piano, on=on)


def _show(result: "CheckResult", json: str | None, report: Path | None, wish: "Wish | None", strict: bool) -> None:
    """On the screen, into the files asked for, and as the exit status."""
    from tapscan.cli.summary import print_summary
    from tapscan.cli.writing import write_out

    for line in result.unreadable:
        typer.echo(f"tapscan: {line}", err=True)
    if result.screening is None:
        raise typer.Exit(1)
    written = write_out(result.screening, json, report, wish)
    if json != "-":
        print_summary(result.screening, report if written else None)
    if result.unreadable or not written:
        raise typer.Exit(1)
    if strict:
        raise typer.Exit(STRICT_STATUS.get(result.screening.disposition, 0))
