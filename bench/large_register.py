"""A large register in a minute: a few plates stored as the program does it, then copied row by row inside the database, in one transaction.

large_register(folder, plates, scans)   Register; DISTINCT different castings over and over, one shop's patterns of PATTERN plates each

Screenings are built by hand (bench/register.py). Copies share the hashes of their recordings, which are not there: only rows are asked for here.
"""

from pathlib import Path

from sqlalchemy import Connection, Table

from bench.register import store_one
from tapscan.register import tables as t
from tapscan.register.bar_files import bar_row
from tapscan.register.database import Register, make_register
from tapscan.register.entries import Outcome, Plate
from tapscan.register.plates import add_plate
from tapscan.register.scans import add_outcome, list_scans

BAR = "flat bar"
DISTINCT, PATTERN, EXAMINED_ONE_IN = 20, 40, 5
KEPT_BY = {"plate": "row", "scan": "row", "screening": "row"}  # numbers that copies have anew


def large_register(folder: Path, plates: int, scans: int) -> Register:
    """`plates` : a multiple of DISTINCT; one of EXAMINED_ONE_IN was examined."""
    if plates % DISTINCT:
        raise ValueError(f"{plates} plates: take a multiple of {DISTINCT}")
    register = make_register(folder)
    for p in range(DISTINCT):
        name = add_plate(register, Plate(f"P{p:04d}", pattern="0", mass_kg=104.0)).name
        for s in range(scans):
            store_one(register, name, p, s)
        if p % EXAMINED_ONE_IN == 0:
            newest = list_scans(register, name)[-1]
            add_outcome(register, newest.name, Outcome("all struts looked at", "penetrant", "A. Ulm", newest.date))
    with register.writing() as connection:
        _multiplied(connection, plates // DISTINCT - 1)
        _with_bar(connection)
        connection.exec_driver_sql(
            f"UPDATE plate SET pattern = 'pattern ' || (CAST(substr(name, 2) AS INT) / {PATTERN})"
        )
    return register


def _with_bar(connection: Connection) -> None:
    """The bar was struck with every scan."""
    bar = bar_row(connection, BAR).row
    connection.exec_driver_sql(
        "INSERT INTO scan_bar (scan_id, position, bar_id, last, sha256, name) "
        f"SELECT scan_id, 0, {bar}, 0, sha256, 'bar.wav' FROM scan_file"
    )


def _multiplied(connection: Connection, copies: int) -> None:
    """Every row of every table that hangs on a plate, `copies` times more, its numbers moved on."""
    most = {name: connection.exec_driver_sql(f"SELECT max(row) FROM {name}").scalar_one() for name in KEPT_BY}
    for table in t.metadata.sorted_tables:
        owners = {c.name: _owner(table, c.name) for c in table.columns}
        if not any(owners.values()):
            continue
        told = [
            _value(table, name, owner, most) for name, owner in owners.items() if owner or not _counted(table, name)
        ]
        names = [f'"{name}"' for name, owner in owners.items() if owner or not _counted(table, name)]
        connection.exec_driver_sql(
            f"WITH RECURSIVE series(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM series WHERE n < {copies}) "
            f'INSERT INTO "{table.name}" ({", ".join(names)}) SELECT {", ".join(told)} FROM series CROSS JOIN "{table.name}"'
        )


def _owner(table: Table, column: str) -> str | None:
    """The table whose numbers stand in this column."""
    if table.name in KEPT_BY and column == KEPT_BY[table.name]:
        return table.name
    owners = {key.column.table.name for key in table.columns[column].foreign_keys}
    return next(iter(owners & set(KEPT_BY)), None)


def _counted(table: Table, column: str) -> bool:
    """A number that the database gives by itself."""
    return column == "row" and table.name not in KEPT_BY


def _value(table: Table, column: str, owner: str | None, most: dict[str, int]) -> str:
    if owner:
        return f'"{column}" + n * {most[owner]}'
    if table.name == "plate" and column in ("name", "name_key"):
        return f'substr("{column}", 1, 1) || printf(\'%04d\', CAST(substr("{column}", 2) AS INT) + {DISTINCT} * n)'
    return f'"{column}"'
