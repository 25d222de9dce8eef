"""`tapscan demo`: the whole job on an invented shop's plates."""

from pathlib import Path
from typing import Annotated

import typer


def demo(
    folder: Annotated[Path, typer.Argument(help="Where recordings and reports are written.")] = Path("tapscan-demo"),
) -> None:
    """Do the whole job on the five plates of an invented shop. All of it is simulated."""
    from tapscan.cli.bullets import bullet, console
    from tapscan.workflow.demo import SHOP, run_demo

    out = console()
    out.print(f"{SHOP}. Five simulated plates, one or two scans each, 20 stations, a soft and a hard tap at each.\n")
    typer.echo("Tapping and listening; this takes a minute or two.", err=True)
    plate = ""
    for scan in run_demo(folder, lambda what: typer.echo(f"  {what} ...", err=True)):
        if scan.plate.name != plate:
            plate = scan.plate.name
            out.print(f"Plate {plate}: {scan.plate.story}.", style="bold")
        screening = scan.screening
        out.print(f"  Scan {scan.number}: {screening.headline}.")
        for indication in screening.indications:
            out.print(bullet(indication.sentence, 4))
        out.print(bullet(f"report: {scan.report}", 4))
        if scan.number == len(scan.plate.cases):
            out.print(bullet(scan.plate.answer, 2))
            out.print()
    out.print("tapscan proposes; a named, qualified person evaluates. Open a report in any browser.")
