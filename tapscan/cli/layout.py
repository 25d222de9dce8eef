"""`tapscan layout`: which layouts there are, which stations one has, and the sheet to chalk them from."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from tapscan.cli import options as o
from tapscan.cli.states import read_state
from tapscan.errors import BadRequest
from tapscan.places import STATES

if TYPE_CHECKING:
    from tapscan.places import State, Station

app = typer.Typer(help="Station layouts: where a plate is tapped.", no_args_is_help=True)
NAME = Annotated[str, typer.Argument(help="A known layout (tapscan layout list), or a .toml file.")]
STATE = Annotated[Optional[str], typer.Option(help=f"State of the plate: {', '.join(STATES)}.")]  # noqa: UP045


@app.command("list")
def list_layouts() -> None:
    """Name the layouts there are: your own, drawn in the page or kept with the register, then those that come with tapscan."""
    from tapscan.workflow.layout import read_layout
    from tapscan.workflow.own_layouts import layout_at, layout_names

    for name in layout_names(o.folder_of(None)):
        layout = read_layout(layout_at(o.folder_of(None), name))
        strung = len(layout.allowed("strung"))
        typer.echo(f"{name}\n    {layout.note} On a strung plate {strung} of them may be tapped.")
    typer.echo("\nTo chalk from: tapscan layout print NAME. To make your own: see docs/layouts.md.")


@app.command("show")
def show(name: NAME, state: STATE = None) -> None:
    """List the stations of one layout in the order in which they are tapped."""
    from tapscan.workflow.layout import read_layout
    from tapscan.workflow.own_layouts import layout_at

    layout, told = read_layout(layout_at(o.folder_of(None), name)), read_state(state)
    typer.echo(f"{layout.name} ({layout.kind}). {layout.note}")
    for station in layout.stations:
        typer.echo(f"  {station.name:5} {station.where}{_direction(station)}{_ruled_out(station, told)}")
        if station.trouble:
            typer.echo(f"        {station.trouble}")
    if told:
        typer.echo(f"{len(layout.allowed(told))} of {len(layout.stations)} may be tapped in the state {told}.")


@app.command("print")
def print_sheet(
    name: NAME,
    file: Annotated[
        Optional[Path], typer.Argument(metavar="FILE.html", help="Where to write it; else NAME-sheet.html here.")  # noqa: UP045
    ] = None,
    state: STATE = None,
    order: Annotated[str, typer.Option(help="Force of the taps at each station.")] = "soft,hard,hard",
) -> None:
    """Write the sheet to chalk the stations from: map, boxes to tick, checklist, cautions; prints to A4 and Letter."""
    from tapscan.workflow.layout import read_layout, read_order
    from tapscan.workflow.own_layouts import layout_at
    from tapscan.workflow.sheet import write_sheet

    layout, told = read_layout(layout_at(o.folder_of(None), name)), read_state(state)
    if not layout.allowed(told):
        raise BadRequest(f"{name}: no station of it may be tapped in the state {told}; take another layout")
    target = file or Path(f"{Path(name).stem}-sheet.html")
    if target.suffix.lower() not in {".html", ".htm"}:
        raise BadRequest(f"{target}: the sheet is a web page; give it a name that ends in .html")
    try:
        write_sheet(target, layout, told, read_order(order), name)
    except OSError as problem:
        raise BadRequest(
            f"{target}: cannot be written ({problem.strerror}); name a folder that exists and may be written to"
        ) from None
    typer.echo(f"The sheet: {target}. Open it in a web browser and print it from there.")


def _direction(station: "Station") -> str:
    words = {"above": "; tap from above", "front": "; tap from the front", "sideways": "; tap sideways", None: ""}
    return words[station.direction]


def _ruled_out(station: "Station", state: "State | None") -> str:
    return "" if state is None or state in station.states else f"  (leave out: not to be tapped in the state {state})"
