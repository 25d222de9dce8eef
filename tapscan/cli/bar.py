"""`tapscan bar`: the steel bar that the shop keeps to check what hears; and its options for a scan."""

from typing import TYPE_CHECKING, Annotated

import typer
from msgspec import Struct

from tapscan.cli import options as o
from tapscan.errors import WrongUsage

if TYPE_CHECKING:
    from tapscan.workflow.bars import BarFiles
    from tapscan.workflow.register import Register

app = typer.Typer(
    help="Reference bars: a steel bar tapped before and after a plate tells whether sensor and recorder are as before.",
    no_args_is_help=True,
)
NAME = Annotated[str, typer.Argument(metavar="NAME", help="The bar's name.")]
BAR_NAME = Annotated[
    o.TEXT,
    typer.Option(metavar="NAME", help="Which of the shop's reference bars; needed only where there are several."),
]


class BarRecordings(Struct, frozen=True):
    """Of a scan that is imported."""

    bar: Annotated[
        o.TEXT,
        typer.Option(metavar="FILE", help="Recording of the reference bar tapped before the plate, some three taps."),
    ] = None
    bar_last: Annotated[o.TEXT, typer.Option(metavar="FILE", help="The same, tapped after the plate.")] = None
    bar_name: BAR_NAME = None

    def files(self, opened: "Register") -> "BarFiles | None":
        """None where none was given."""
        from tapscan.workflow.bars import BarFiles, named_bar

        _asked(self.bar_name, struck=bool(self.bar or self.bar_last))
        if self.bar is None and self.bar_last is None:
            return None
        first, last = (((path,) if path else ()) for path in (self.bar, self.bar_last))
        return BarFiles(named_bar(opened, self.bar_name), first, last)


class BarTurns(Struct, frozen=True):
    """Of a scan that is recorded at the plate."""

    bar: Annotated[bool, typer.Option("--bar", help="Tap the reference bar before the plate and after it.")] = False
    bar_name: BAR_NAME = None

    def name(self, opened: "Register") -> str | None:
        """None where none is struck."""
        from tapscan.workflow.bars import named_bar

        _asked(self.bar_name, struck=self.bar)
        return named_bar(opened, self.bar_name) if self.bar else None


def _asked(name: str | None, *, struck: bool) -> None:
    if name is not None and not struck:
        raise WrongUsage("--bar-name says which reference bar; add --bar, or leave it out")


@app.command("list")
def list_all(register: o.REGISTER = None) -> None:
    """Show the shop's reference bars."""
    from tapscan.cli.tables import print_table
    from tapscan.workflow.bars import list_bars

    bars = list_bars(o.opened(register))
    if not bars:
        typer.echo("No reference bar yet: tapscan scan record PLATE --bar, or tapscan scan import ... --bar FILE")
        return
    rows = [(b.name, b.first_scan or "never", b.notes or "") for b in bars]
    print_table(("reference bar", "first tapped with", "notes"), rows)


@app.command("show")
def show(name: NAME, register: o.REGISTER = None) -> None:
    """Show what was heard of a reference bar with each scan, beside its first reading."""
    from tapscan.cli.tables import print_table
    from tapscan.workflow.bars import TAPS_APART, bar_rows, find_bar

    opened = o.opened(register)
    bar = find_bar(opened, name)
    typer.echo(f"Reference bar {bar.name}, first tapped with {bar.first_scan or 'no scan yet'}.")
    if bar.notes:
        typer.echo(f"  {bar.notes}")
    if rows := bar_rows(opened, bar.name):
        print_table(("scan", "tapped", "taps used", "tones", "lowest, Hz", "level, dB", "noise, dB"), rows)
        typer.echo(TAPS_APART)


@app.command("note")
def note(
    name: NAME,
    notes: Annotated[str, typer.Option(help="Size, steel, where it hangs, where the pickup sits on it.")],
    register: o.REGISTER = None,
) -> None:
    """Write down what the bar is. A name that is not known yet is a new bar."""
    from tapscan.workflow.bars import note_bar

    bar = note_bar(o.opened(register), name, o.words(notes))
    typer.echo(f"Noted for reference bar {bar.name}.")
