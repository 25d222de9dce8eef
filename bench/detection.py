"""How often the rules are right, on simulated plates: of single scans, and of scans beside one and three earlier ones.

    python -m bench.detection WORK --tables FOLDER [--minutes N] [--seeds N] [--cores N] [--rates old]

WORK keeps every finished scan, a file each, and the version that made the first one, and is taken up where it was left; the rules are run anew on all of them each time, so a changed
limit needs no new sound. Other tables need another WORK. FOLDER holds the tables made by ``python -m bench.plates cache FOLDER --places 14 --sizes screened --stations 36 --seed 2``.
After N minutes (0: make no scan) the tables are printed; each goes to bench/results/detection.txt or detection_beside.txt and into docs/rules.md once all its scans are finished. Simulated; no iron was measured.

Limits were chosen on castings with seeds under 4400, those of the comparison and of buzz on small-grand and upright-three-quarter alone; nothing here was among those plates,
nor were their cracks at these places.
Sound and flawed plates are spoilt alike (bench/detection_scans.py). First single scans, those of sound and chilled plates and of breathing cracks at more places as well; then where something buzzed a second one with the part held,
as the report asks; then beside one and three earlier ones (bench/detection_pairs.py). Decay rules are also tried on mode lists with modelled errors (bench/compare_scans.py), many more of them.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from bench import detection_beside
from bench.detection_counts import Judged, counted, counted_kinds, followed, held_again, judged_of, relevant_by_rule
from bench.detection_pairs import pairs
from bench.detection_scans import USUAL_PLACES, Plate
from bench.detection_store import FIRST_SEED, SEEDS, denser, earlier_visits, first_visits, make, path_of, tables_of
from bench.detection_tables import Found, Regions, report, shapes_of
from bench.reach_file import write_part
from bench.rules_page import BESIDE, SINGLE, renew
from bench.study import add_rates, kept_head


def found_of(plates: Sequence[Plate], more: Sequence[Plate], told: Mapping[str, Judged], regions: Regions) -> Found:
    """From what is said of the finished scans, and of those that count where a part was held."""
    ended = followed([*plates, *more], told)

    def first(some: Sequence[Plate]) -> list[Judged]:
        return [told[p.name] for p in some if p.name in told]

    def last(some: Sequence[Plate]) -> list[Judged]:
        return [told[ended[p.name].name] for p in some if p.name in ended]

    return Found(regions, first(plates), last(plates), first(more), last(more))


def counts_of(found: Found, more_places: int) -> dict[str, Any]:
    """What the report says of its rules."""
    return {
        **counted(found.first),
        "places_tapped": USUAL_PLACES,
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
    parser.add_argument("--minutes", type=float, default=115.0)
    parser.add_argument("--seeds", type=int, default=SEEDS)
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    add_rates(parser)
    given = parser.parse_args()
    given.work.mkdir(parents=True, exist_ok=True)
    tables, dense = tables_of(given.tables)
    plates = list(first_visits(tables, given.seeds, given.rates))
    more = denser(plates, dense)
    until = time.time() + 60 * given.minutes
    every = [*plates, *more, *earlier_visits(plates)]
    made_by = kept_head(given.work, f"{FIRST_SEED} to {FIRST_SEED + SEEDS - 1}")
    make(every, given.work, until, given.cores)
    told = judged_of([*plates, *more], given.work, given.cores)
    again = held_again([*plates, *more], told)
    make(again, given.work, until, given.cores)
    told |= judged_of(again, given.work, given.cores)
    found = found_of(plates, more, told, shapes_of(tables))
    more_places = max(len(t.station_names) for t in dense.values())
    text = report(tables, found, more_places, given.cores, made_by)
    print(text)
    if given.seeds == SEEDS and _all_there([*plates, *more, *again], given.work):
        write_part("single", counts_of(found, more_places))
        SINGLE.write_text(text, encoding="utf-8")
    ended = followed(plates, told)
    beside = pairs([ended[p.name] for p in plates if p.name in ended], given.work, given.cores)
    text = detection_beside.report(tables, beside, given.cores, made_by)
    print(text, end="")
    if given.seeds == SEEDS and _all_there([*every, *again], given.work):
        write_part("beside", detection_beside.counts_of(beside))
        BESIDE.write_text(text, encoding="utf-8")
    renew()


def _all_there(plates: Sequence[Plate], work: Path) -> bool:
    missing = sum(not path_of(p, work).exists() for p in plates)
    if missing:
        print(f"{missing} of {len(plates)} scans are missing: what stands in bench/results and docs stays")
    return not missing


if __name__ == "__main__":
    main()
