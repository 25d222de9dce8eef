"""How often the rules are right, on simulated plates: issue F's numbers.

    python -m bench.detection WORK --tables FOLDER [--minutes N] [--seeds N] [--cores N]

WORK keeps every finished scan, a file each, and is taken up where it was left; the rules are run anew on all of them each time, so a changed
limit needs no new sound. FOLDER holds the tables of drawn places made by ``python -m bench.plates cache FOLDER --places 10 --sizes study``.
After N minutes (0: make no scan) the tables go to bench/results/detection.txt and into docs/rules.md. Simulated; no iron was measured.

Limits were chosen on small-grand and upright-three-quarter with seeds under 1000, those of the force rule and of all places together on castings of all patterns
with seeds under 4200; nothing here was among those plates. Sound and flawed plates are spoilt alike (bench/detection_scans.py). First single scans, then each beside an earlier one (bench/detection_pairs.py). Decay rules are also
tried on mode lists with modelled errors (bench/compare_scans.py), many more of them.
"""

from __future__ import annotations

import argparse
import os
import platform
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

import tapscan
from bench.compare_scans import PICKUP, draw_state, model_scan
from bench.detection_pairs import Told, modelled_chill, pair_table, pairs
from bench.detection_store import (
    SETTING,
    SETTINGS,
    Row,
    earlier_visits,
    first_visits,
    make,
    read,
)
from bench.doc_pages import between
from bench.pod import interval
from bench.reach_file import share, write_part
from tapscan.demo.plates import Table, draw_iron, plate_modes, read_table
from tapscan.records import Scan
from tapscan.report.reach import limits_sha256
from tapscan.screening.origins import with_origins
from tapscan.screening.rules import RULES, local_ringing, run_rules
from tapscan.screening.strings import string_series

RESULTS = Path(__file__).parent / "results" / "detection.txt"
PAGE = Path(__file__).parents[1] / "docs" / "rules.md"
MARKS = "<!-- figures -->", "<!-- end of figures -->"
SHORT = "<!-- in short -->", "<!-- end of in short -->"
SEEDS = 68  # 204 plates without a flaw on three patterns, 40 or 41 of each flaw
MODEL_PLATES = 100  # a pattern and kind
MODEL_SEED = 40000


@dataclass(frozen=True)
class Judged:
    """What the rules said of one scan."""

    kind: str
    pattern: str
    rattles: bool
    relevant: frozenset[str]  # rules that raised something relevant
    other: frozenset[str]  # and those that raised something else
    rings_alone: bool  # the rule that is off by default, switched on
    string: bool  # taken for strung, it showed a string


def judged(row: Row) -> Judged:
    """All rules, and the asides."""
    scan = with_origins(row.scan, SETTINGS)
    relevant, other = said(scan)
    alone = bool(local_ringing.run(scan, replace(SETTINGS, local_ringing_on=1.0)))
    strings = bool(string_series(scan.modes, SETTINGS))
    return Judged(row.kind, row.pattern, row.rattles, relevant, other, alone, strings)


def said(scan: Scan) -> tuple[frozenset[str], frozenset[str]]:
    """Rules that raised something relevant, and those that raised something else; origins are told already."""
    found, _ = run_rules(scan, SETTINGS)
    return (
        frozenset(i.rule for i in found if i.interpretation == "relevant"),
        frozenset(i.rule for i in found if i.interpretation != "relevant"),
    )


def kinds_of(rows: Sequence[Judged]) -> list[str]:
    """The one without a flaw first."""
    return sorted({r.kind for r in rows}, key=lambda k: (k != "sound", k))


def table(rows: Sequence[Judged]) -> list[str]:
    """One line a kind for the whole, one for each rule that raised anything."""
    lines = []
    for kind in kinds_of(rows):
        told = [r for r in rows if r.kind == kind]
        lines.append(f"  {kind:44s} relevant    {interval(sum(bool(r.relevant) for r in told), len(told))}")
        relevant, other = Counter(n for r in told for n in r.relevant), Counter(n for r in told for n in r.other)
        lines += [f"      {n:40s} relevant    {interval(k, len(told))}" for n, k in sorted(relevant.items())]
        lines += [f"      {n:40s} nonrelevant {interval(k, len(told))}" for n, k in sorted(other.items())]
    return lines


def asides(rows: Sequence[Judged]) -> list[str]:
    """What is off by default, and what looks for strings, on the same scans."""
    lines = []
    for kind in kinds_of(rows):
        told = [r for r in rows if r.kind == kind]
        hits = sum(r.rings_alone for r in told)
        lines.append(f"  {kind:44s} local ringing, if switched on   {interval(hits, len(told))}")
        if kind == "sound":
            hits = sum(r.string for r in told)
            lines.append(f"  {kind:44s} taken for strung: a string       {interval(hits, len(told))}")
    return lines


def rattling(rows: Sequence[Judged]) -> str:
    """Among sound plates with a rattling screw."""
    told = [r for r in rows if r.kind == "sound" and r.rattles]
    if not told:
        return "  sound plates with a rattling screw: none yet"
    return (
        f"  of {len(told)} sound plates with a rattling screw: buzz heard (repeat the test) {sum('buzz' in r.other for r in told)}, "
        f"relevant {sum(bool(r.relevant) for r in told)}"
    )


def by_pattern(rows: Sequence[Judged]) -> list[str]:
    """Something relevant, a kind a line: no pattern hides behind the mean."""
    lines = []
    for kind in kinds_of(rows):
        counts = []
        for pattern in sorted({r.pattern for r in rows if r.kind == kind}):
            told = [bool(r.relevant) for r in rows if r.kind == kind and r.pattern == pattern]
            counts.append(f"{pattern} {sum(told)} of {len(told)}")
        lines.append(f"  {kind:44s} {'; '.join(counts)}")
    return lines


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


def _model(pattern: Table, start: str, scatter: float, number: int) -> frozenset[str]:
    rng = np.random.default_rng([MODEL_SEED + number, 9])
    iron = draw_iron(pattern, np.random.default_rng([77, MODEL_SEED + number]), loss_scatter=scatter)
    labels = [x for x in pattern.labels if x.startswith(start)]
    label = labels[number % len(labels)]
    rubs = start.startswith("depth")
    state = draw_state(rng, **({"rubbing": label} if rubs else {}))
    plate = plate_modes(pattern, "sound" if rubs else label, iron, state)
    scan = model_scan(plate, PICKUP, rng, SETTINGS, len(pattern.station_names))
    return said(with_origins(scan, SETTINGS))[0]


def counted(rows: Sequence[Judged]) -> dict[str, Any]:
    """What the report says of each rule, for tapscan/report/reach.json; and what a test holds against docs/rules.md."""
    names = [rule.NAME for rule in RULES]
    by_kind = {k: [r for r in rows if r.kind == k] for k in kinds_of(rows)}
    sound = by_kind["sound"]
    return {
        "relevant": {
            k: {n: share(sum(n in r.relevant for r in found), len(found)) for n in names}
            for k, found in by_kind.items()
        },
        "any_relevant": {k: share(sum(bool(r.relevant) for r in found), len(found)) for k, found in by_kind.items()},
        "buzz": {
            name: share(
                sum(_buzzes(r) for r in sound if r.rattles == rattles), sum(r.rattles == rattles for r in sound)
            )
            for name, rattles in (("rattling", True), ("quiet", False))
        },
        "string_on_bare": share(sum(r.string for r in sound), len(sound)),
    }


def counted_beside(told: Sequence[Told]) -> dict[str, Any]:
    """The disposition beside one earlier scan."""
    kinds = sorted({t.kind for t in told})
    by_kind = {k: [t.relevant for t in told if t.kind == k] for k in kinds}
    return {k: share(sum(found), len(found)) for k, found in by_kind.items()}


def _buzzes(row: Judged) -> bool:
    return "buzz" in row.relevant | row.other


def report(tables: dict[str, Table], unseen: Sequence[Judged], seen: Sequence[Judged], told: Sequence[Told]) -> str:
    """All tables as text."""
    limits = limits_sha256(SETTINGS, "single")
    others = {n: t for n, t in tables.items() if n not in SETTING}
    return "\n".join(
        [
            f"tapscan {tapscan.__version__}, Python {platform.python_version()}, {os.cpu_count()} cores, {time.strftime('%Y-%m-%d')}",
            f"limits {limits}; single scans, all places of the long layout, one soft and one hard tap each; 95 % Clopper-Pearson; SIMULATED",
            *["", "Through the sound, three patterns, castings that set no limit", *table(unseen), rattling(unseen)],
            *["", "The same by pattern, something relevant", *by_pattern(unseen)],
            *["", "The same scans beside one earlier scan of the same casting: the disposition", *pair_table(told)],
            *["", "Mode lists beside three earlier scans, the same patterns: the comparison", *modelled_chill(others)],
            *["", "Asides, the same scans", *asides(unseen)],
            *["", "Through the sound, the two setting patterns (other castings)", *table(seen), rattling(seen)],
            *["", "Mode lists with modelled errors, the three patterns, castings that set no limit", *modelled(others)],
            "",
        ]
    )


def page(text: str, figures: str, counts: Mapping[str, Any], beside: Mapping[str, Any]) -> str:
    """The page of the rules with these figures in it: all of them, and the counts in short."""
    return between(between(text, MARKS, f"```text\n{figures}```"), SHORT, "\n".join(in_short(counts, beside)))


def in_short(counts: Mapping[str, Any], beside: Mapping[str, Any]) -> list[str]:
    """A table: the disposition of a single scan, and beside one earlier scan (something relevant always raises it)."""
    lines = ["| plate | single scan | 95 % | beside one earlier scan | 95 % |", "|---|---|---|---|---|"]
    alone = counts["any_relevant"]
    for kind in sorted(alone, key=lambda k: (k != "sound", k)):
        words = "without a flaw" if kind == "sound" else kind
        lines.append(f"| {words} | {_cells(alone[kind])} | {_cells(beside.get(kind))} |")
    return lines


def _cells(found: Mapping[str, Any] | None) -> str:
    if found is None:
        return "not run | "
    return f"{found['spoke']} of {found['of']} | {100 * found['low']:.1f} to {100 * found['high']:.1f} %"


def main() -> None:
    """Make scans for a while, then the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("work", type=Path)
    parser.add_argument("--tables", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=100.0)
    parser.add_argument("--seeds", type=int, default=SEEDS)
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    given = parser.parse_args()
    given.work.mkdir(parents=True, exist_ok=True)
    tables = {p.stem: read_table(p) for p in sorted(given.tables.glob("*.npz"))}
    later = list(first_visits(tables, given.seeds))
    plates = [*later, *earlier_visits(later)]
    make(plates, given.work, time.time() + 60 * given.minutes, given.cores)
    rows = read(plates, given.work)
    found = [judged(rows[p.name]) for p in later if p.name in rows]
    unseen, seen = ([r for r in found if (r.pattern in SETTING) == is_seen] for is_seen in (False, True))
    told = pairs(later, rows)
    text = report(tables, unseen, seen, told)
    counts, beside = counted(unseen), counted_beside(told)
    write_part("single", counts)
    write_part("beside", {"any_relevant": beside})
    RESULTS.write_text(text, encoding="utf-8")
    PAGE.write_text(page(PAGE.read_text(encoding="utf-8"), text, counts, beside), encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
