"""``python -m bench.plates``: make the modal tables of the invented patterns."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from bench.plates.cases import many_flaws, shipped_flaws
from bench.plates.mesh import triangulate
from bench.plates.patterns import NAMES, build
from bench.plates.tables import solve_pattern, write_table

SHIPPED_MODES = 143  # three rigid ones and 140 that bend
SHIPPED_FOLDER = Path("tapscan/demo/tables")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m bench.plates", description=__doc__)
    sub = parser.add_subparsers(dest="command", required=True)
    tables = sub.add_parser("tables", help="the tables that ship in the package")
    cache = sub.add_parser("cache", help="every flaw at every drawn place, for detection studies")
    recordings = sub.add_parser("recordings", help="the simulated reference recordings, from the shipped tables")
    tables.add_argument("--out", type=Path, default=SHIPPED_FOLDER)
    cache.add_argument("out", type=Path)
    recordings.add_argument("--out", type=Path, default=Path("reference_recordings/simulated"))
    for each in (tables, cache):
        each.add_argument("--pattern", action="append", choices=NAMES)
        each.add_argument("--modes", type=int, default=SHIPPED_MODES)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; prints one line a case."""
    given = _parser().parse_args(arguments)
    if given.command == "recordings":
        from bench.plates.recordings import write_recordings

        write_recordings(given.out)
        return 0
    flaws_of = shipped_flaws if given.command == "tables" else many_flaws
    for name in given.pattern or NAMES:
        begun = time.perf_counter()
        pattern = build(name)
        mesh = triangulate(pattern)
        arrays = solve_pattern(pattern, mesh, flaws_of(pattern), given.modes, print)
        write_table(given.out / f"{name}.npz", arrays)
        print(f"{name}: {len(arrays['frequency_hz'])} cases in {time.perf_counter() - begun:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
