"""The command tree."""

from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from tapscan import __version__
from tapscan.cli import (
    bar,
    check,
    compare,
    demo,
    history,
    layout,
    mic,
    open,
    pattern,
    plate,
    register,
    report,
    scan,
    settings,
    visit,
)


class _Commands(TyperGroup):
    """A Ctrl-C at a question ends a command as it does anywhere else."""

    def invoke(self, ctx: typer.Context) -> Any:  # type: ignore[override]
        try:
            return super().invoke(ctx)
        except typer.Abort as stop:
            raise KeyboardInterrupt from stop


app = typer.Typer(
    name="tapscan",
    cls=_Commands,
    help="Screen a bare cast-iron piano plate by the sound of taps. tapscan reports indications; "
    "a named, qualified person evaluates them.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
app.command("open")(open.open_page)
app.command("check")(check.check)
app.command("demo")(demo.demo)
app.command("compare")(compare.compare)
app.command("report")(report.report)
app.command("history")(history.history)
app.command("mic")(mic.mic)
app.add_typer(layout.app, name="layout")
app.add_typer(plate.app, name="plate")
app.add_typer(scan.app, name="scan")
app.add_typer(visit.app, name="visit")
app.add_typer(pattern.app, name="pattern")
app.add_typer(bar.app, name="bar")
app.add_typer(register.app, name="register")
app.add_typer(settings.app, name="settings")


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"tapscan {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    pass
