"""``python -m bench.plates``: make the modal tables of the invented patterns."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from bench.plates.cases import SIZES, Flaw, many_flaws, shipped_flaws
from bench.plates.drawn import draw_ends, draw_places, draw_screened
from bench.plates.layout import more_stations
from bench.plates.mesh import triangulate
from bench.plates.mounted import mounted_arrays, mounted_flaws
from bench.plates.pattern import Pattern
from bench.plates.patterns import NAMES
from bench.plates.shifts import shift_table
from bench.plates.tables import solve_pattern, write_table
from bench.plates.varied import pattern_of

SHIPPED_MODES = 143  # three rigid ones and 140 that bend
MOUNTED_MODES = 120  # of the free plate; what holds it adds its own (mounted.py)
OWN_PLACES = {"ends": draw_ends, "screened": draw_screened}
SHIPPED_FOLDER = Path("tapscan/demo/tables")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m bench.plates", description=__doc__)
    sub = parser.add_subparsers(dest="command", required=True)
    tables = sub.add_parser("tables", help="the tables that ship in the package")
    cache = sub.add_parser("cache", help="a bigger set for detection studies, into a folder of yours")
    recordings = sub.add_parser("recordings", help="the simulated reference recordings, from the shipped tables")
    mounted = sub.add_parser("mounted", help="plates to be screwed into a piano, for bench.in_piano")
    mounted.add_argument("out", type=Path)
    mounted.add_argument("--places", type=int, default=8, help="up to so many places a flaw, drawn at random")
    mounted.add_argument("--seed", type=int, default=1)
    mounted.add_argument("--vary", type=int, help="not the patterns, but others made of them at random from this seed")
    shifts = sub.add_parser("shifts", help="how far the cracks of a folder's tables move frequencies")
    shifts.add_argument("folder", type=Path)
    tables.add_argument("--out", type=Path, default=SHIPPED_FOLDER)
    cache.add_argument("out", type=Path)
    cache.add_argument(
        "--places", type=int, help="draw up to so many places a flaw at random; else the shipped crack lines"
    )
    cache.add_argument("--seed", type=int, default=1, help="of the drawn places; another seed is another set")
    cache.add_argument(
        "--sizes",
        choices=tuple(SIZES),
        default="all",
        help="every size of a flaw, a study's few, those of a curve, those that single scans are tried on, chilled regions only, or chilled ends of several sizes",
    )
    cache.add_argument("--stations", type=int, help="so many places to tap, more of them between the usual twenty")
    recordings.add_argument("--out", type=Path, default=Path("reference_recordings/simulated"))
    for each, modes in ((tables, SHIPPED_MODES), (cache, SHIPPED_MODES), (mounted, MOUNTED_MODES)):
        each.add_argument("--pattern", action="append", choices=NAMES)
        each.add_argument("--modes", type=int, default=modes)
    return parser


def _chosen(given: argparse.Namespace, name: str) -> tuple[Pattern, list[Flaw]]:
    """A pattern with its crack lines, and the flaws to solve."""
    pattern = pattern_of(name)
    if given.command == "tables":
        return pattern, shipped_flaws(pattern)
    if given.command == "mounted":
        pattern = draw_places(pattern, given.places, given.seed, all_sizes=True)
        return pattern, mounted_flaws(pattern)
    if given.places is not None:
        if given.sizes in OWN_PLACES:
            pattern = OWN_PLACES[given.sizes](pattern, given.places, given.seed)
        else:
            pattern = draw_places(pattern, given.places, given.seed, all_sizes=given.sizes == "all")
    return pattern, many_flaws(pattern, given.sizes)


def _names(given: argparse.Namespace) -> Sequence[str]:
    names = given.pattern or NAMES
    varied = given.vary if given.command == "mounted" else None
    return names if varied is None else [f"{name}-{varied}" for name in names]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; prints one line a case."""
    given = _parser().parse_args(arguments)
    if given.command == "recordings":
        from bench.plates.recordings import write_recordings

        write_recordings(given.out)
        return 0
    if given.command == "shifts":
        print("\n".join(shift_table(given.folder)))
        return 0
    for name in _names(given):
        begun = time.perf_counter()
        pattern, flaws = _chosen(given, name)
        mesh = triangulate(pattern)
        if given.command == "cache" and given.stations is not None:
            pattern = more_stations(pattern, mesh, given.stations)
        solve = mounted_arrays if given.command == "mounted" else solve_pattern
        arrays = solve(pattern, mesh, flaws, given.modes, print)
        write_table(given.out / f"{name}.npz", arrays)
        print(f"{name}: {len(arrays['frequency_hz'])} cases in {time.perf_counter() - begun:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
