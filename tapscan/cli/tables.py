"""Rows on the terminal; text is shown as it is.

print_table(headings, rows)   columns as wide as they need to be
print_scans(entries)          one line a scan
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from tapscan.cli.bullets import console

if TYPE_CHECKING:
    from tapscan.workflow.scan import ScanLine


def print_table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """A row may be long; it folds inside its column."""
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim", pad_edge=False)
    for heading in headings:
        table.add_column(heading, overflow="fold")
    for row in rows:
        table.add_row(*(Text(shown(cell)) for cell in row))
    console().print(table)


def shown(text: str) -> str:
    """On one line, and nothing that moves the cursor."""
    return "".join(c if c.isprintable() else " " for c in text)


def print_scans(entries: Sequence["ScanLine"]) -> None:
    """Name, state, what was found, whether it is a baseline scan, and what came out later."""
    rows = []
    for e in entries:
        came = "; ".join(f"{o.found} ({o.method}, {o.by_whom}, {o.on})" for o in e.outcomes)
        said = e.crossed_out or e.headline
        mark = "" if e.crossed_out or not e.baseline else "yes, although" if e.baseline_although else "yes"
        rows.append((e.name, e.state or "unknown", said, mark, came))
    print_table(("scan", "state", "tapscan said", "baseline", "found later"), rows)
