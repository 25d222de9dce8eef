"""`tapscan open`: the register in the browser, on this computer."""

from typing import Annotated

import typer

from tapscan.cli import options as o
from tapscan.cli.sharing import JOBS


def open_page(
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the browser, or only print the address.")
    ] = True,
    port: Annotated[int, typer.Option(min=0, max=65535, help="Where the page listens; 0 takes any free port.")] = 8427,
    lan: Annotated[
        bool,
        typer.Option(
            "--lan", help="Let phones of your own network send recordings and photos, each by a code to scan."
        ),
    ] = False,
    register: o.REGISTER = None,
    jobs: JOBS = None,
) -> None:
    """Open the register in the browser: plates, new scans, reports, all of it without typing a command.

    The page is served by this computer to this computer only; with --lan a phone is let in for one scan or for photos, and for nothing else. Stop it with Ctrl-C; what is stored stays stored.
    """
    import webbrowser

    from tapscan.page.server import serve

    def opened(address: str) -> None:
        typer.echo(f"The register in your browser: {address}")
        typer.echo("Leave this window open while you work. Ctrl-C ends it; what is stored stays stored.")
        if browser and not webbrowser.open(address):
            typer.echo("tapscan: no browser could be opened; copy the address into one", err=True)

    serve(o.place_of(register), port, opened, lan=lan, jobs=jobs)
