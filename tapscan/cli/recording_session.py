"""The recorder in a terminal: its keys and its screen; what it does stands in workflow/at_the_plate.py.

record_at(session)      until all is tapped or the person stops
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from tapscan.workflow.at_the_plate import Session, View, Wish

WISHES: "dict[str, Wish]" = {
    "u": "undo",
    "r": "repeat",
    "s": "skip",
    "b": "back",
    "p": "pause",
    "q": "stop",
    "\x1b": "stop",
}


def record_at(session: "Session") -> None:
    """Keys that mean nothing are passed over."""
    from tapscan.cli.keys import raw_keys

    with shown() as show, raw_keys() as keys:
        session.run(lambda: [WISHES[key] for key in keys().lower() if key in WISHES], show)


@contextmanager
def shown() -> "Iterator[Callable[[View], None]]":
    """Full screen in a terminal; else a line whenever something was said."""
    from rich.console import Console
    from rich.live import Live

    from tapscan.cli.plate_screen import screen

    console = Console()
    if not console.is_terminal:
        last: list[str] = []

        def line(view: "View") -> None:
            told = view.trouble or view.said
            if last != [told]:
                last[:] = [told]
                typer.echo(told)

        yield line
        return
    with Live(console=console, screen=True, auto_refresh=False) as live:
        yield lambda view: live.update(screen(view, console.width), refresh=True)
