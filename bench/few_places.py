"""Plates without a flaw tapped at few places: how often a scan, and a comparison of two, calls them by microphone in a room, and by pickup.

    python -m bench.few_places WORK [--castings N] [--minutes M] [--cores K]      prints the table; it lies in bench/results when all scans are there

With fewer than eight places a room cannot be told from the plate by the patterns of its modes, so some rules then ask for more or are not run (screening/untold_room.py).
Counted with that, and without it, on the same scans. Castings, rooms and places in them are drawn as in bench/microphone.py, from seeds of their own, on the
patterns that set nothing there. A comparison is of two scans of one casting on two days. Simulated; no iron was tapped.
"""

from __future__ import annotations

import argparse
import os
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from bench import study
from bench.microphone import FIRST_SEED, Case, heard, plate_of, taps_of
from bench.pod import interval
from tapscan.demo.taps import Tap
from tapscan.places import State
from tapscan.records import Scan, ScanConditions, ScanForComparison
from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.rules import run_rules
from tapscan.sensors import Sensor
from tapscan.settings import Settings

RESULT = Path(__file__).parent / "results" / "few_places.txt"
FIRST = 20_000 - FIRST_SEED  # number of the first casting: in no other count
PLACES = (1, 2, 3, 4, 6, 7)
COMPARED = (2, 4, 6)  # number of places at which a second scan is made
ROOMS = ((0.6, 0.1), (0.6, 0.4), (1.0, 0.4), (0.0, 0.0))  # T60 in s, distance of the microphone in m; 0: a pickup
RATE_HZ = 44_100
STATE: State = "stripped"


class Unit(Struct, frozen=True):
    """One casting at so many places; `name` is what it is stored under."""

    number: int
    places: int
    t60_s: float
    distance_m: float

    @property
    def name(self) -> str:
        """Unique."""
        return f"{self.number}_{self.places}_{self.t60_s}_{self.distance_m}"

    @property
    def group(self) -> str:
        """The table's row."""
        what = f"microphone {self.distance_m} m, room {self.t60_s} s" if self.t60_s else "pickup"
        return f"{what}, {self.places} place{'s' if self.places > 1 else ''}"


def units(castings: int) -> list[Unit]:
    """Every casting in every way."""
    return [Unit(FIRST + n, places, *room) for n in range(castings) for places in PLACES for room in ROOMS]


def row_of(unit: Unit) -> dict[str, Any]:
    """One line of the store: which rules called the plate, with the guard and without."""
    settings = Settings()
    first = _scan(unit, 0, settings)
    row: dict[str, Any] = {"name": unit.name, "left_in": first.room_left_in, "modes": len(first.modes)}
    for way, scan in _ways(first):
        row[way] = sorted({i.rule for i in run_rules(scan, settings)[0] if i.interpretation == "relevant"})
    if unit.places in COMPARED:
        second = _scan(unit, 1, settings)
        for (way, a), (_, b) in zip(_ways(first), _ways(second), strict=True):
            told = compare_scans(_beside(unit, b, 2), [_beside(unit, a, 1)], settings)
            row[f"compared {way}"] = "refused" if told.rules_not_run else [i.rule for i in told.indications]
    return row


def _ways(scan: Scan) -> Iterator[tuple[str, Scan]]:
    yield "with", scan
    yield "without", replace(scan, room_left_in=False)


def _scan(unit: Unit, day: int, settings: Settings) -> Scan:
    """The same casting and room; each day another hand, other supports and warmth."""
    case = Case(unit.number, RATE_HZ, unit.t60_s, unit.distance_m, places=unit.places)
    plate = plate_of(case, day)
    taps: Sequence[Tap] = taps_of(case, plate, day)
    return heard(taps, plate, settings, contact=not unit.t60_s)[0]


def _beside(unit: Unit, scan: Scan, day: int) -> ScanForComparison:
    sensor = Sensor("microphone" if unit.t60_s else "contact")
    conditions = ScanConditions(state=STATE, supports="pads: as drawn", sensor=sensor)
    return ScanForComparison(f"P/2026-03-0{day}", f"2026-03-0{day}", conditions, scan)


def table(done: Sequence[tuple[Unit, dict[str, Any]]], head: str) -> str:
    """A row for each kind of scan, then all by microphone and by pickup."""
    lines = [head, "", __doc__.split("\n\n")[2] if __doc__ else "", ""]
    lines.append(
        f"{'called, 95 % interval':44}{'with the guard':>28}{'without':>28}   modes  by rule, without the guard"
    )
    groups: dict[str, list[dict[str, Any]]] = {}
    for unit, row in done:
        for name in (unit.group, "all by microphone" if unit.t60_s else "all by pickup"):
            groups.setdefault(name, []).append(row)
    for name, rows in sorted(groups.items(), key=lambda g: g[0].startswith("all")):
        rules = Counter(rule for r in rows for rule in r["without"])
        named = ", ".join(f"{rule} {n}" for rule, n in sorted(rules.items()))
        counts = [interval(sum(bool(r[way]) for r in rows), len(rows)) for way in ("with", "without")]
        lines.append(f"{name:44}{counts[0]:>28}{counts[1]:>28}{np.median([r['modes'] for r in rows]):8.0f}  {named}")
    lines += [
        "",
        f"{'two scans compared: called, 95 % interval':44}{'with the guard':>28}{'without':>28}   refused with it",
    ]
    for name, rows in sorted(groups.items(), key=lambda g: g[0].startswith("all")):
        some = [r for r in rows if "compared with" in r]
        if some:
            counts = [
                interval(sum(_called(r[f"compared {way}"]) for r in some), len(some)) for way in ("with", "without")
            ]
            refused = sum(r["compared with"] == "refused" for r in some)
            lines.append(f"{name:44}{counts[0]:>28}{counts[1]:>28}   {refused}")
    return "\n".join(lines) + "\n"


def _called(found: str | list[str]) -> bool:
    return found != "refused" and bool(found)


def main() -> None:
    """Make scans for a while, then the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("work", type=Path)
    parser.add_argument("--castings", type=int, default=12)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    given = parser.parse_args()
    wanted = units(given.castings)
    given.work.mkdir(parents=True, exist_ok=True)
    head = study.kept_head(given.work, "few places")
    done = list(study.made(given.work, wanted, row_of, given.minutes, given.cores))
    text = table(done, head)
    print(text)
    if len(done) == len(wanted):
        RESULT.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
