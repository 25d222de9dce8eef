"""How often taps at permitted places tell a change of a plate in its piano, around one job and from season to season.

    python -m bench.in_piano WORK --tables FOLDER [--castings N] [--setting] [--minutes N] [--cores N]

FOLDER holds the tables of ``python -m bench.plates mounted FOLDER --places 8 --seed 72`` of the three patterns that set no limit; with ``--setting`` those of the two setting patterns (--places 6 --seed 71).
WORK keeps each finished scan and is taken up where it was left. Simulated, no iron was measured (bench/simulate/in_piano.py says what is assumed).
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from bench import study
from bench.in_piano_scans import Unit, roles_of, scan_in
from bench.table_folder import read_tables
from tapscan.demo.plates import Table
from tapscan.register.codec import plain

FLAWED_EVERY = {8: 3, 4: 6}  # by places: castings that are also scanned with something wrong
FOUR = ("before", "job, same", "season 5 %, same")  # at four places nothing longer is counted


def units_of(patterns: Sequence[str], each: int, luck: str) -> list[tuple[Unit, str]]:
    """Castings in turn, each tapped at eight places and at four."""
    castings = [(pattern, number) for number in range(each) for pattern in patterns]
    found = [(Unit(p, n, luck=luck), role) for p, n in castings for role in roles_of(n % FLAWED_EVERY[8] == 0)]
    for pattern, number in castings:
        roles = roles_of(number % FLAWED_EVERY[4] == 0)
        few = [r for r in roles if r in FOUR or r.startswith(("job", "season 5 %"))]
        found += [(Unit(pattern, number, 4, luck=luck), role) for role in few]
    return found


def path_of(unit: tuple[Unit, str], work: Path) -> Path:
    """Where the finished scan is kept."""
    it, role = unit
    return work / f"{it.luck}; {it.pattern}; {it.number}; {it.places}; {it.strings}; {role.replace(',', '')}.json.gz"


def made(tables: Mapping[str, Table], unit: tuple[Unit, str]) -> Any:
    """As JSON can hold it."""
    it, role = unit
    scan = scan_in(it, tables[it.pattern], role)
    return None if scan is None else plain(scan)


def main(arguments: Sequence[str] | None = None) -> None:
    """Count, print and write."""
    parser = study.parser_of("bench.in_piano", __doc__, "in piano")
    parser.add_argument("--castings", type=int, default=60, help="of each pattern")
    given = parser.parse_args(arguments)
    tables = read_tables(given.tables)
    units = units_of(list(tables), given.castings, given.luck)
    given.work.mkdir(parents=True, exist_ok=True)
    study.make(
        units, partial(made, tables), partial(path_of, work=given.work), time.time() + 60 * given.minutes, given.cores
    )


if __name__ == "__main__":
    main()
