"""The modal tables of a folder, as bench/plates writes them.

read_tables(folder)          by pattern
with_places(table, count)    the table with its first places alone
"""

from __future__ import annotations

from pathlib import Path

from msgspec.structs import replace

from tapscan.demo.plates import Table, read_table


def read_tables(folder: Path | None) -> dict[str, Table]:
    """In the order of their names; none where no folder is given."""
    return {p.stem: read_table(p) for p in sorted(folder.glob("*.npz"))} if folder else {}


def with_places(table: Table, count: int) -> Table:
    """`count` : no more than the table has (ValueError)."""
    if count > len(table.station_names):
        raise ValueError(f"{table.name}: {len(table.station_names)} places, not {count}")
    arrays = {**table.arrays, "station_shape": table.arrays["station_shape"][..., :count]}
    return replace(table, arrays=arrays, meta={**table.meta, "stations": table.meta["stations"][:count]})
