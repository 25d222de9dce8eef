"""Which simulated plates bench/detection.py scans, and the finished scans in their folder.

tables_of(folder)             the tables at the usual places, and at all of theirs; patterns that set limits are left out
first_visits(tables, seeds)   sound and flawed plates in turn, each flawed one at a place of its own
earlier_visits(plates)        the same castings before they were flawed, three times, other pads, warmth, hits and nuisances
denser(plates, tables)        sound, chilled and breathing ones of them once more, at all places
make(plates, work, until, cores)    scans that are missing, a file each; what is there stays
read(plates, work)            their finished scans by the plate's name
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from bench import study
from bench.compare_scans import RATE_HZ
from bench.detection_scans import USUAL_PLACES, Plate, scan_of_taps, taps_of
from bench.table_folder import read_tables, with_places
from tapscan.demo.plates import Table
from tapscan.places import Layout, Outline, Station
from tapscan.records import Scan
from tapscan.register.codec import plain, record_of
from tapscan.settings import Settings

SETTING = ("small-grand", "upright-three-quarter")  # patterns that set limits: not tried
SETTINGS = Settings()
FIRST_SEED = 4400
SEEDS = 70  # 210 plates without a flaw on three patterns, 42 of each flaw
FLAWS = 5  # in turn
EARLIER = 3  # earlier scans of each casting


class Row(Struct, frozen=True, eq=False):
    """One finished scan."""

    kind: str
    pattern: str
    scan: Scan
    rattles: bool  # whether a part rattled


def tables_of(folder: Path) -> tuple[dict[str, Table], dict[str, Table]]:
    """Raises ValueError where a table has no more than the usual places."""
    dense = {name: table for name, table in read_tables(folder).items() if name not in SETTING}
    if not dense or any(len(t.station_names) <= USUAL_PLACES for t in dense.values()):
        raise ValueError(
            f"{folder}: no tables of more than {USUAL_PLACES} places; make them as bench/detection.py says"
        )
    return {name: with_places(table, USUAL_PLACES) for name, table in dense.items()}, dense


def first_visits(tables: Mapping[str, Table], seeds: int, rates: str = "drawn") -> Iterator[Plate]:
    """In an order that fills all rows evenly. A casting is heard at one sampling rate, with its flaw and without."""
    for number in range(seeds):
        for table in tables.values():
            rate = study.rate_of("detection", f"{table.name}, {FIRST_SEED + number}", RATE_HZ, rates)
            yield Plate(table, "sound", FIRST_SEED + number, rate_hz=rate)
            yield replace(_flawed(table, number), rate_hz=rate)


def _flawed(table: Table, number: int) -> Plate:
    """The flaws in turn, and each at the drawn places in turn; ValueError where these are used up."""
    turn, round_ = (number + sum(table.name.encode())) % FLAWS, number // FLAWS
    seed = FIRST_SEED + number

    def place(start: str) -> str:
        places = [x for x in table.labels if x.startswith(start)]
        if round_ >= len(places):
            raise ValueError(f"{table.name}: only {len(places)} of {start}")
        return places[round_]

    if turn == 0:
        return Plate(table, place("depth 50 %"), seed, breathing=True)
    if turn == 1:
        return Plate(table, place("depth 50 %"), seed, rubbing=True)
    if turn == 2:
        return Plate(table, place("severed"), seed)
    shape = ("chilled region", "chilled patch")[(round_ + turn) % 2]  # ends of the plate, patches anywhere
    return Plate(table, place(shape), seed, loss_scatter=0.10 if turn == 3 else 0.20)


def earlier_visits(plates: Iterable[Plate]) -> list[Plate]:
    """Three of each casting; a sound plate and a cracked one of the same seed are one casting."""
    return list({earlier.name: earlier for plate in plates for earlier in before(plate)}.values())


def before(plate: Plate) -> list[Plate]:
    """The casting of this plate when it had no flaw, at each of its visits."""
    was = replace(plate, label="sound", breathing=False, rubbing=False, held=False)
    return [replace(was, visit=n) for n in range(1, EARLIER + 1)]


def denser(plates: Iterable[Plate], tables: Mapping[str, Table]) -> list[Plate]:
    """With these tables' places. Severed struts, of which a single scan tells nothing, and closed cracks that rub, for which no number is asked, are left out."""
    kept = [p for p in plates if p.label == "sound" or p.label.startswith("chilled") or p.breathing]
    return [replace(p, table=tables[p.table.name]) for p in kept]


def kind_of(plate: Plate) -> str:
    """The row it belongs to."""
    if plate.breathing:
        return "breathing crack, half a strut deep"
    if plate.rubbing:
        return "closed crack that rubs, half a strut deep"
    if plate.label.startswith("chilled"):
        return f"chilled region, losses scatter {100 * plate.loss_scatter:.0f} %"
    return "severed strut" if plate.label.startswith("severed") else "sound"


def path_of(plate: Plate, work: Path) -> Path:
    """Where its finished scan is kept."""
    return work / (plate.name.replace("|", "; ").replace("/", "-") + ".json.gz")


def make(plates: Iterable[Plate], work: Path, until: float, cores: int) -> None:
    """Scans that are missing, in their order, until the time (time.time) is over. ValueError where the folder holds scans of other tables."""
    plates = list(plates)
    _same_tables(plates, work)
    study.make(plates, _made, partial(path_of, work=work), until, cores)


def _same_tables(plates: Sequence[Plate], work: Path) -> None:
    """Places of another drawing bear the same names."""
    every = {id(p.table): p.table for p in plates}.values()
    mine = {t.name: hashlib.sha256(json.dumps(t.meta["cases"]).encode()).hexdigest()[:16] for t in every}
    path = work / "tables.json"
    known = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    if other := sorted(name for name in mine if known.get(name, mine[name]) != mine[name]):
        raise ValueError(f"{work} holds scans of other tables ({', '.join(other)}): take an empty folder")
    path.write_text(json.dumps(known | mine, indent=1) + "\n", encoding="utf-8")


def _made(plate: Plate) -> dict[str, Any]:
    taps, around = taps_of(plate)
    return {"rattles": around.rattle_place >= 0, "scan": plain(scan_of_taps(taps, SETTINGS))}


def read(plates: Sequence[Plate], work: Path) -> dict[str, Row]:
    """Finished scans of these plates by the plate's name."""
    found = {}
    layouts = {id(p.table): layout_of(p.table) for p in plates}
    for plate in plates:
        row = study.read(path_of(plate, work))
        if row is not None:
            scan = replace(record_of(Scan, row["scan"]), map=layouts[id(plate.table)], parts_held=plate.held)
            found[plate.name] = Row(kind_of(plate), plate.table.name, scan, row["rattles"])
    return found


def layout_of(table: Table) -> Layout:
    """Where the stations lie: what a chalked sheet would tell the rules."""
    spots = table.meta["stations"]
    wide, high = (max(s[k] for s in spots) for k in ("x_m", "y_m"))
    stations = tuple(Station(s["name"], s["description"], s["x_m"] / wide, s["y_m"] / high) for s in spots)
    return Layout(table.name, "simulated", "", stations, Outline(table.name, wide / high, ()))
