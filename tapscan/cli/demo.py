"""`tapscan demo`: the whole job on an invented shop's plates."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tapscan.cli.sharing import JOBS
from tapscan.errors import BadRequest, WrongUsage
from tapscan.workers import Workers

if TYPE_CHECKING:
    from rich.console import Console

    from tapscan.workflow.demo import DemoScan


def demo(
    folder: Annotated[Path, typer.Argument(help="Where recordings and reports are written.")] = Path("tapscan-demo"),
    jobs: JOBS = None,
) -> None:
    """Do the whole job on the five plates of an invented shop. All of it is simulated."""
    _made(folder)
    with Workers(jobs, ("tapscan.workflow.demo",)) as workers:
        workers.start()
        from tapscan.cli.bullets import console
        from tapscan.workflow.demo import SHOP, run_demo

        out = console()
        out.print(
            f"{SHOP}. Five simulated plates, one or two scans each, 20 stations, a soft and a hard tap at each.\n"
        )
        typer.echo("Tapping and listening; this takes half a minute or so.", err=True)
        workers.progress = _told
        for scan in run_demo(folder, workers):
            _print(out, scan)
    out.print("tapscan proposes; a named, qualified person evaluates. Open a report in any browser.")


def _made(folder: Path) -> None:
    """Before anything is reckoned. Raises WrongUsage for a file, BadRequest for what cannot be made."""
    if folder.exists() and not folder.is_dir():
        raise WrongUsage(f"{folder}: is a file; name a folder, which is made where there is none")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise BadRequest(f"{folder}: cannot be made ({problem.strerror}); name a folder elsewhere") from None


def _told(stage: str, done: int, total: int) -> None:
    typer.echo(f"  {done} of {total} {stage} done ...", err=True)


def _print(out: "Console", scan: "DemoScan") -> None:
    from tapscan.cli.bullets import bullet

    if scan.number == 1:
        out.print(f"Plate {scan.plate.name}: {scan.plate.story}.", style="bold")
    out.print(f"  Scan {scan.number}: {scan.screening.headline}.")
    for indication in scan.screening.indications:
        out.print(bullet(indication.sentence, 4))
    out.print(bullet(f"report: {scan.report}", 4))
    if scan.number == len(scan.plate.cases):
        out.print(bullet(scan.plate.answer, 2))
        out.print()
