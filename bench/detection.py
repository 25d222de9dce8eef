"""How often the rules are right on one scan by itself: issue F's numbers, on simulated plates.

    python -m bench.detection WORK --tables FOLDER [--minutes N] [--seeds N] [--cores N]

WORK keeps every finished scan, a file each, and is taken up where it was left; the rules are run anew on all of them each time, so a changed
limit needs no new sound. FOLDER holds the tables made by ``python -m bench.plates cache FOLDER --places 14 --sizes screened --stations 36 --seed 2``.
After N minutes (0: make no scan) the tables go to bench/results/detection.txt and into docs/rules.md. Simulated; no iron was measured.

Limits were chosen on castings with seeds under 4200, those of the comparison and of buzz on small-grand and upright-three-quarter alone; nothing here was among those plates,
nor were their cracks and chilled regions at these places.
Sound and flawed plates are spoilt alike (bench/detection_scans.py), and scanned at the usual places and at all of them; where something buzzed once more with the part held, as the report asks. Decay rules
are also tried on mode lists with modelled errors (bench/compare_scans.py), many more of them. Beside earlier scans: bench/detection_beside.py.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from bench.detection_counts import Judged, counted, counted_kinds, followed, judged, relevant_by_rule
from bench.detection_scans import USUAL_PLACES, Plate
from bench.detection_store import (
    SEEDS,
    SETTING,
    Row,
    denser,
    first_visits,
    held_again,
    make,
    read,
)
from bench.detection_tables import Found, report
from bench.reach_file import write_part
from bench.rules_page import SINGLE, renew
from bench.table_folder import read_tables, with_places


def found_of(plates: Sequence[Plate], more: Sequence[Plate], rows: Mapping[str, Row]) -> Found:
    """From the finished scans."""
    ended = followed([*plates, *more], rows)

    def judged_of(some: Sequence[Plate], told: Mapping[str, Row]) -> list[Judged]:
        return [judged(p, told[p.name]) for p in some if p.name in told]

    return Found(
        judged_of(plates, rows),
        judged_of(plates, ended),
        judged_of(more, rows),
        judged_of(more, ended),
    )


def counts_of(found: Found, more_places: int) -> dict[str, Any]:
    """What the report says of its rules."""
    return {
        **counted(found.first),
        "ended": counted_kinds(found.ended),
        "more_places": relevant_by_rule(found.more),
        "more_places_first": counted_kinds(found.more),
        "more_places_ended": counted_kinds(found.more_ended),
        "more_places_tapped": more_places,
    }


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
    dense = {name: table for name, table in read_tables(given.tables).items() if name not in SETTING}
    tables = {name: with_places(table, USUAL_PLACES) for name, table in dense.items()}
    plates = list(first_visits(tables, given.seeds))
    more = denser(plates, dense)
    until = time.time() + 60 * given.minutes
    make([*plates, *more], given.work, until, given.cores)
    rows = read([*plates, *more], given.work)
    again = held_again([*plates, *more], rows)
    make(again, given.work, until, given.cores)
    found = found_of(plates, more, {**rows, **read(again, given.work)})
    more_places = max(len(t.station_names) for t in dense.values())
    text = report(tables, found, more_places)
    write_part("single", counts_of(found, more_places))
    SINGLE.write_text(text, encoding="utf-8")
    renew()
    print(text, end="")


if __name__ == "__main__":
    main()
