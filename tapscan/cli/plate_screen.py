"""What is on the screen while a scan, or keys, are recorded: readable from three metres, 80 by 24 and up.

screen(view, wide)         a rich renderable
plate_picture(...)         the plate in letters: edge, stations, the one to tap
"""

from itertools import pairwise

from rich.console import Group, RenderableType
from rich.layout import Layout as Rows
from rich.panel import Panel
from rich.text import Text

from tapscan.cli.large_letters import fitting
from tapscan.places import Layout, Point
from tapscan.workflow.at_the_plate import View

KEYS = "u take back   r {} anew   s skip   b back   p pause   q stop and keep"
MAP_WIDE, MAP_HIGH = 30, 12
HERE, DONE, OPEN, EDGE = "◆", "●", "○", "·"
LEVEL_LOW_DB, LEVEL_HIGH_DB = -80.0, 0.0


def screen(view: View, wide: int) -> RenderableType:
    """Large name at the left, the plate at the right, the last verdict below."""
    body = Rows()
    body.split_column(Rows(_head(view), size=1), Rows(name="middle"), Rows(_foot(view, wide), size=7))
    if view.layout is None:
        body["middle"].update(_name(view, wide))
        return body
    left = max(20, wide - MAP_WIDE - 3)
    picture = plate_picture(view, view.layout)
    body["middle"].split_row(Rows(_name(view, left), size=left), Rows(Panel(picture, padding=0), size=MAP_WIDE + 3))
    return body


def _head(view: View) -> Text:
    return Text(f" {view.done} {view.done_of}", style="bold")


def _name(view: View, wide: int) -> RenderableType:
    if view.station is None:
        done = "All places have their taps." if view.layout else "All keys are played."
        return Group(*(Text(f" {row}") for row in ["", *fitting("DONE", wide - 2)]), Text(f"\n {done}"))
    rows = [Text(f" {row}", style="bold", no_wrap=True) for row in ["", *fitting(view.station, wide - 2), ""]]
    rows += [Text(f" {row}", style="bold", no_wrap=True) for row in fitting((view.how or "done").upper(), wide - 2, 2)]
    return Group(*rows, Text(f"\n {view.where}"), Text(f" {view.counts}"))


def _foot(view: View, wide: int) -> RenderableType:
    mark = {"good": "[+] ", "bad": "[!] "}.get(view.tone, "    ")
    style = {"good": "bold", "bad": "bold reverse"}.get(view.tone, "bold")
    said = Text(f" {mark}{view.said}", style=style)
    if view.trouble:
        said = Text(f" [!] {view.trouble}", style="bold reverse")
    return Group(
        Panel(said, padding=0),
        Text(f" {view.waiting} ", style="bold reverse" if view.waiting.startswith("READY") else "bold"),
        _bar(view, wide),
        Text(f" {KEYS.format('place' if view.layout else 'key')}"),
        Text(f" {view.hands}"),
    )


def _bar(view: View, wide: int) -> Text:
    """Loudness now, and where the noise lies."""
    length = max(10, wide - 24)

    def place(db: float) -> int:
        share = (db - LEVEL_LOW_DB) / (LEVEL_HIGH_DB - LEVEL_LOW_DB)
        return round(length * min(1.0, max(0.0, share)))

    bar = ["█" if i < place(view.level_db) else " " for i in range(length)]
    if view.floor_db is not None:
        bar[min(length - 1, place(view.floor_db))] = "|"
    return Text(f" level [{''.join(bar)}] {view.level_db:4.0f} dB")


def plate_picture(view: View, layout: Layout) -> Text:
    """Marks differ by shape: the place to tap, those done, those to come."""
    grid = [[" "] * MAP_WIDE for _ in range(MAP_HIGH)]
    outline = layout.outline
    if outline is not None:
        edge = [*outline.edge, outline.edge[0]]
        for a, b in pairwise(edge):
            for k in range(40):
                _put(grid, (a[0] + (b[0] - a[0]) * k / 40, a[1] + (b[1] - a[1]) * k / 40), EDGE)
    here = next((s for s in layout.stations if s.name == view.station), None)
    for station in layout.stations:
        if station.name not in view.barred:  # not to be struck: nobody is to look for it
            _put(grid, (station.x, station.y), DONE if station.name in view.taken else OPEN)
    if here is not None:
        _put(grid, (here.x, here.y), HERE)
    lines = "\n".join("".join(row) for row in grid)
    return Text(f"{lines}\n{HERE} here {DONE} done {OPEN} to come", no_wrap=True)


def _put(grid: list[list[str]], at: Point, sign: str) -> None:
    x, y = round(at[0] * (MAP_WIDE - 1)), round(at[1] * (MAP_HIGH - 1))
    if 0 <= x < MAP_WIDE and 0 <= y < MAP_HIGH:
        grid[y][x] = sign
