"""`tapscan layout`: which stations a layout has."""

from typing import Annotated

import typer

app = typer.Typer(help="Station layouts: where a plate is tapped.", no_args_is_help=True)


@app.command("list")
def list_layouts() -> None:
    """Name the layouts that come with tapscan."""
    from tapscan.layouts import known_layouts, read_layout

    for name in known_layouts():
        layout = read_layout(name)
        typer.echo(f"{name:16} {len(layout.stations):2} stations  {layout.note}")


@app.command("show")
def show(name: Annotated[str, typer.Argument(help="A known layout, or a .toml file.")]) -> None:
    """List the stations of one layout in the order in which they are tapped."""
    from tapscan.layouts import read_layout

    layout = read_layout(name)
    typer.echo(f"{layout.name} ({layout.kind}). {layout.note}")
    for station in layout.stations:
        typer.echo(f"  {station.name:5} {station.where}")
