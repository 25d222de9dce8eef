"""How often the disposition is right beside one and three earlier scans of the same casting, on simulated plates.

    python -m bench.detection_beside WORK --tables FOLDER [--minutes N] [--seeds N] [--cores N]

WORK and FOLDER are those of bench/detection.py, whose scans at the usual places are the later ones (the part held where something buzzed); each casting was scanned three times before it had its
flaw (bench/detection_pairs.py). After N minutes (0: make no scan) the tables go to bench/results/detection_beside.txt and into docs/rules.md. Simulated; no iron was measured.
"""

from __future__ import annotations

import argparse
import os
import time
from pathlib import Path

from bench.detection_counts import counted_kinds, followed
from bench.detection_pairs import Told, modelled_chill, pair_table, pairs
from bench.detection_scans import USUAL_PLACES
from bench.detection_store import EARLIER, SEEDS, SETTING, earlier_visits, first_visits, held_again, make, read
from bench.detection_tables import head
from bench.reach_file import write_part
from bench.rules_page import BESIDE, renew
from bench.table_folder import read_tables, with_places
from tapscan.demo.plates import Table


def report(tables: dict[str, Table], beside: dict[int, list[Told]]) -> str:
    """All tables as text."""
    told = [
        line
        for n, found in beside.items()
        for line in ("", f"The disposition beside {n} earlier {'scan' if n == 1 else 'scans'}", *pair_table(found))
    ]
    return "\n".join(
        [
            *head("beside"),
            *["", "Beside earlier scans of the same casting; in the later scan the part held where something buzzed"],
            *told,
            *["", "Mode lists beside three earlier scans, the same patterns: the comparison", *modelled_chill(tables)],
            "",
        ]
    )


def main() -> None:
    """Make scans for a while, then the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("work", type=Path)
    parser.add_argument("--tables", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=110.0)
    parser.add_argument("--seeds", type=int, default=SEEDS)
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    given = parser.parse_args()
    given.work.mkdir(parents=True, exist_ok=True)
    tables = {n: with_places(t, USUAL_PLACES) for n, t in read_tables(given.tables).items() if n not in SETTING}
    plates = list(first_visits(tables, given.seeds))
    until = time.time() + 60 * given.minutes
    every = [*plates, *earlier_visits(plates)]
    make(every, given.work, until, given.cores)
    rows = read(every, given.work)
    again = held_again(plates, rows)
    make(again, given.work, until, given.cores)
    ended = followed(plates, {**rows, **read(again, given.work)})
    beside = {n: pairs(plates, ended, n) for n in (1, EARLIER)}
    text = report(tables, beside)
    write_part("beside", {"any_relevant": counted_kinds(beside[1]), "three": counted_kinds(beside[EARLIER])})
    BESIDE.write_text(text, encoding="utf-8")
    renew()
    print(text, end="")


if __name__ == "__main__":
    main()
