"""How often the rules for a single scan are right, on simulated plates: issue F's numbers.

    python -m bench.detection WORK --tables FOLDER [--minutes N] [--first SEED]

WORK keeps every finished scan, a file each, and is taken up where it was left; the rules are run anew on all of them each time, so a changed
limit needs no new sound. FOLDER holds the tables of drawn places made by ``python -m bench.plates cache FOLDER --places 10 --sizes study``.
After N minutes (0: make no scan) the tables go to bench/results/detection.txt and into docs/rules.md. Simulated; no iron was measured.

Limits were chosen on small-grand and upright-three-quarter with seeds under 1000; nothing here was among those plates. Sound and flawed plates are
spoilt alike (bench/detection_scans.py). Decay rules are also tried on mode lists with modelled errors (bench/compare_scans.py), many more of them.
"""

from __future__ import annotations

import argparse
import gzip
import json
import os
import platform
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

import tapscan
from bench.compare_scans import PICKUP, draw_state, model_scan
from bench.detection_scans import Plate, scan_of_taps, taps_of
from bench.pod import clopper_pearson
from bench.reach_file import share, write_part
from tapscan.demo.plates import Table, draw_iron, plate_modes, read_table
from tapscan.records import Scan
from tapscan.register.codec import plain, record_of
from tapscan.report.reach import limits_sha256
from tapscan.screening.origins import with_origins
from tapscan.screening.rules import RULES, local_ringing, run_rules
from tapscan.screening.strings import string_series
from tapscan.settings import Settings

SETTING = ("small-grand", "upright-three-quarter")
RESULTS = Path(__file__).parent / "results" / "detection.txt"
PAGE = Path(__file__).parents[1] / "docs" / "rules.md"
MARKS = "<!-- figures -->", "<!-- end of figures -->"
SETTINGS = Settings()
FIRST_SEED = 1000
MODEL_PLATES = 100  # a pattern and kind
Row = tuple[str, Scan, bool]  # kind, scan, whether a part rattled


def plates(tables: dict[str, Table], first: int = FIRST_SEED) -> Iterator[Plate]:
    """Without end, in an order that fills all rows evenly; patterns that set no limit come more often."""
    seed = first
    while True:
        for name, table in tables.items():
            if name in SETTING and seed % 3:
                continue
            yield Plate(table, "sound", seed)
            yield _flawed(table, seed)
        seed += 1


def _flawed(table: Table, seed: int) -> Plate:
    """One of the flaws in turn, at one of the drawn places by chance."""
    rng = np.random.default_rng([seed, 7, *table.name.encode()])

    def case(start: str) -> str:
        return str(rng.choice([x for x in table.labels if x.startswith(start)]))

    turn = (seed + sum(table.name.encode())) % 5
    if turn == 0:
        return Plate(table, case("depth 50 %"), seed, breathing=True)
    if turn == 1:
        return Plate(table, case("depth 50 %"), seed, rubbing=True)
    if turn == 2:
        return Plate(table, case("severed"), seed)
    return Plate(table, case("chilled"), seed, loss_scatter=0.10 if turn == 3 else 0.20)


def kind_of(plate: Plate) -> str:
    """The row it belongs to."""
    if plate.breathing:
        return "breathing crack, half a strut deep"
    if plate.rubbing:
        return "closed crack that rubs, half a strut deep"
    if plate.label.startswith("chilled"):
        return f"chilled region, losses scatter {100 * plate.loss_scatter:.0f} %"
    return "severed strut" if plate.label.startswith("severed") else "sound"


def make(tables: dict[str, Table], work: Path, minutes: float, first: int = FIRST_SEED) -> None:
    """Scans that are missing, until the time is over."""
    stop = time.monotonic() + 60 * minutes
    for plate in plates(tables, first):
        if time.monotonic() > stop:
            return
        path = work / (plate.name.replace("|", "; ").replace("/", "-") + ".json.gz")
        if path.exists():
            continue
        taps, around = taps_of(plate)
        scan = scan_of_taps(taps, SETTINGS)
        row = {
            "kind": kind_of(plate),
            "pattern": plate.table.name,
            "rattles": around.rattle_place >= 0,
            "scan": plain(scan),
        }
        half = path.with_suffix(".half")
        half.write_bytes(gzip.compress(json.dumps(row).encode(), 4))
        half.replace(path)


def read(work: Path) -> dict[str, list[Row]]:
    """Finished scans by pattern."""
    found: dict[str, list[Row]] = {}
    for path in sorted(work.glob("*.json.gz")):
        row = json.loads(gzip.decompress(path.read_bytes()))
        scan = record_of(Scan, row["scan"])
        found.setdefault(row["pattern"], []).append((row["kind"], scan, row["rattles"]))
    return found


def interval(hits: int, count: int) -> str:
    """Clopper-Pearson, 95 %."""
    low, high = clopper_pearson(hits, count)
    return f"{hits:4d} of {count:4d}   {100 * low:5.1f} to {100 * high:5.1f} %"


def relevant(scan: Scan) -> tuple[set[str], set[str]]:
    """Rules that raised something relevant, and those that raised something else."""
    found, _ = run_rules(with_origins(scan, SETTINGS), SETTINGS)
    return (
        {i.rule for i in found if i.interpretation == "relevant"},
        {i.rule for i in found if i.interpretation != "relevant"},
    )


def table(rows: Sequence[Row]) -> list[str]:
    """One line a kind for the whole, one for each rule that raised anything."""
    lines = []
    for kind in sorted({k for k, _, _ in rows}, key=lambda k: (k != "sound", k)):
        told = [relevant(scan) for k, scan, _ in rows if k == kind]
        lines.append(f"  {kind:44s} relevant    {interval(sum(bool(r) for r, _ in told), len(told))}")
        for meaning, side in (("relevant", 0), ("nonrelevant", 1)):
            counted = Counter(rule for one in told for rule in one[side])
            lines += [f"      {rule:40s} {meaning:11s} {interval(n, len(told))}" for rule, n in sorted(counted.items())]
    return lines


def asides(rows: Sequence[Row]) -> list[str]:
    """What is off by default, and what looks for strings, on the same scans."""
    on = replace(SETTINGS, local_ringing_on=1.0)
    lines = []
    for kind in sorted({k for k, _, _ in rows}, key=lambda k: (k != "sound", k)):
        scans = [with_origins(scan, SETTINGS) for k, scan, _ in rows if k == kind]
        hits = sum(bool(local_ringing.run(s, on)) for s in scans)
        lines.append(f"  {kind:44s} local ringing, if switched on   {interval(hits, len(scans))}")
        if kind == "sound":
            hits = sum(bool(string_series(s.modes, SETTINGS)) for s in scans)
            lines.append(f"  {kind:44s} taken for strung: a string       {interval(hits, len(scans))}")
    return lines


def rattling(rows: Sequence[Row]) -> str:
    """Among sound plates with a rattling screw."""
    told = [relevant(scan) for kind, scan, rattles in rows if kind == "sound" and rattles]
    if not told:
        return "  sound plates with a rattling screw: none yet"
    return (
        f"  of {len(told)} sound plates with a rattling screw: buzz heard (repeat the test) {sum('buzz' in n for _, n in told)}, "
        f"relevant {sum(bool(r) for r, _ in told)}"
    )


def modelled(tables: dict[str, Table]) -> list[str]:
    """Decay rules on mode lists with modelled errors."""
    lines = []
    for scatter in (0.10, 0.17, 0.20):
        for kind, start in (
            ("sound", "sound"),
            ("closed crack that rubs, half a strut deep", "depth 50 %"),
            ("chilled region", "chilled"),
        ):
            told = [_model(t, start, scatter, n) for t in tables.values() for n in range(MODEL_PLATES)]
            for rule in ("long-decay", "dead-place"):
                hits = sum(rule in r for r in told)
                lines.append(
                    f"  {kind:44s} losses scatter {100 * scatter:.0f} %  {rule:12s} {interval(hits, len(told))}"
                )
    return lines


def _model(pattern: Table, start: str, scatter: float, number: int) -> set[str]:
    rng = np.random.default_rng([FIRST_SEED + number, 9])
    iron = draw_iron(pattern, np.random.default_rng([77, FIRST_SEED + number]), loss_scatter=scatter)
    labels = [x for x in pattern.labels if x.startswith(start)]
    label = labels[number % len(labels)]
    rubs = start.startswith("depth")
    state = draw_state(rng, **({"rubbing": label} if rubs else {}))
    plate = plate_modes(pattern, "sound" if rubs else label, iron, state)
    return relevant(model_scan(plate, PICKUP, rng, SETTINGS, len(pattern.station_names)))[0]


def counted(rows: Sequence[Row]) -> dict[str, object]:
    """What the report says of each rule, for tapscan/report/reach.json."""
    told = [(kind, rattles, relevant(scan)) for kind, scan, rattles in rows]
    kinds = sorted({kind for kind, _, _ in told})
    names = [rule.NAME for rule in RULES]
    by_kind = {k: [r for kind, _, (r, _) in told if kind == k] for k in kinds}
    sound = [(rattles, "buzz" in r | n) for kind, rattles, (r, n) in told if kind == "sound"]
    bare = [with_origins(scan, SETTINGS).modes for kind, scan, _ in rows if kind == "sound"]
    return {
        "relevant": {
            k: {n: share(sum(n in r for r in found), len(found)) for n in names} for k, found in by_kind.items()
        },
        "any_relevant": {k: share(sum(map(bool, found)), len(found)) for k, found in by_kind.items()},
        "buzz": {
            name: share(sum(h for r, h in sound if r == rattles), sum(r == rattles for r, _ in sound))
            for name, rattles in (("rattling", True), ("quiet", False))
        },
        "string_on_bare": share(sum(bool(string_series(m, SETTINGS)) for m in bare), len(bare)),
    }


def report(tables: dict[str, Table], found: dict[str, list[Row]]) -> str:
    """All tables as text, of finished scans by pattern."""
    limits = limits_sha256(SETTINGS, "single")
    lines = [
        f"tapscan {tapscan.__version__}, Python {platform.python_version()}, {os.cpu_count()} cores, {time.strftime('%Y-%m-%d')}",
        f"limits {limits}; single scans, all places of the long layout, one soft and one hard tap each; 95 % Clopper-Pearson; SIMULATED",
    ]
    unseen = [r for name, rows in found.items() if name not in SETTING for r in rows]
    seen = [r for name, rows in found.items() if name in SETTING for r in rows]
    lines += ["", "Through the sound, patterns that set no limit", *table(unseen), rattling(unseen)]
    lines += ["", "Asides, the same scans", *asides(unseen), "", "By pattern"]
    for name in sorted(n for n in found if n not in SETTING):
        lines += [f" {name}", *(line for line in table(found[name]) if line[:6] != "      ")]
    lines += ["", "Through the sound, the two patterns that set limits (other plates)", *table(seen), rattling(seen)]
    unseen_tables = {n: t for n, t in tables.items() if n not in SETTING}
    lines += ["", "Mode lists with modelled errors, patterns that set no limit", *modelled(unseen_tables)]
    return "\n".join(lines) + "\n"


def page(text: str, figures: str) -> str:
    """The page of the rules with these figures in it."""
    before, _, rest = text.partition(MARKS[0])
    _, _, after = rest.partition(MARKS[1])
    return f"{before}{MARKS[0]}\n```text\n{figures}```\n{MARKS[1]}{after}"


def main() -> None:
    """Make scans for a while, then the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("work", type=Path)
    parser.add_argument("--tables", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=100.0)
    parser.add_argument(
        "--first", type=int, default=FIRST_SEED, help="seed to begin with, for a second run beside the first"
    )
    given = parser.parse_args()
    given.work.mkdir(parents=True, exist_ok=True)
    tables = {p.stem: read_table(p) for p in sorted(given.tables.glob("*.npz"))}
    make(tables, given.work, given.minutes, given.first)
    found = read(given.work)
    text = report(tables, found)
    write_part("single", counted([r for name, rows in found.items() if name not in SETTING for r in rows]))
    RESULTS.write_text(text, encoding="utf-8")
    PAGE.write_text(page(PAGE.read_text(encoding="utf-8"), text), encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
