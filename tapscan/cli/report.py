"""`tapscan report`: the page of a stored scan."""

from pathlib import Path
from typing import Annotated, Optional

import typer

from tapscan.cli import options as o
from tapscan.cli.kept import Kept
from tapscan.cli.writing import told_where


def report(
    scan: Annotated[str, typer.Argument(metavar="SCAN", help="PLATE/DATE[-n], or a plate's name for its newest scan.")],
    out: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option(metavar="FILE.html", help="Where the page goes; else PLATE_DATE.html in this folder."),
    ] = None,
    summary: Annotated[bool, typer.Option("--summary", help="One page for a buyer instead of the whole.")] = False,
    pdf: Annotated[bool, typer.Option("--pdf", help="PDF instead of HTML (needs the extra: tapscan[pdf]).")] = False,
    whom: Annotated[str, typer.Option("--for", metavar="NAME", help="Whom the page is for; stands at its head.")] = "",
    full: o.FULL = False,
    shop: o.SHOP = None,
    register: o.REGISTER = None,
) -> None:
    """Write the page of a stored scan: what was found, what to do, how sure, comparison, outcomes. It needs no network."""
    from tapscan.workflow.report import read_shop
    from tapscan.workflow.write_report import Wish, write_report

    shop = Kept(register).shop(shop)
    wish = Wish(read_shop(shop) if shop else None, summary, pdf, whom, full)
    with told_where(out, "the page"):
        written = write_report(o.opened(register), scan, out, wish)
    typer.echo(f"The page to read and to keep: {written}")
