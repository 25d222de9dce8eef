"""The modal tables of a folder, as bench/plates writes them.

read_tables(folder)   by pattern; none where no folder is given
"""

from __future__ import annotations

from pathlib import Path

from tapscan.demo.plates import Table, read_table


def read_tables(folder: Path | None) -> dict[str, Table]:
    """In the order of their names."""
    return {p.stem: read_table(p) for p in sorted(folder.glob("*.npz"))} if folder else {}
