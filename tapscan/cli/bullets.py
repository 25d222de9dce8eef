"""Plain text on the terminal: one console, hanging bullets.

console()            standard output, no highlighting of numbers or names
bullet(text, indent) text behind a dash, wrapped under itself
"""

from rich.console import Console
from rich.table import Table
from rich.text import Text


def console() -> Console:
    """A console that leaves names as they are."""
    return Console(highlight=False, markup=False)


def bullet(text: str, indent: int = 1) -> Table:
    """`text` is shown as it is, markup included."""
    grid = Table.grid(padding=(0, 1))
    grid.add_column(width=indent + 1)
    grid.add_column(overflow="fold")
    grid.add_row(Text(" " * indent + "-"), Text(text))
    return grid
