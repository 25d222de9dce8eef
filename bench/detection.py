"""How often the rules are right, on simulated plates: issue F's numbers.

    python -m bench.detection WORK --tables FOLDER [--more-places FOLDER] [--minutes N] [--seeds N] [--cores N]

WORK keeps every finished scan, a file each, and is taken up where it was left; the rules are run anew on all of them each time, so a changed
limit needs no new sound. FOLDER holds the tables of drawn places made by ``python -m bench.plates cache FOLDER --places 10 --sizes study``, the other one those made
with ``--sizes chill --stations 36`` as well: chilled plates and plates without a flaw once more, at more places.
After N minutes (0: make no scan) the tables go to bench/results/detection.txt and into docs/rules.md. Simulated; no iron was measured.

Limits were chosen on castings with seeds under 4200, those of the comparison and of buzz on small-grand and upright-three-quarter alone; nothing here was among those plates.
Sound and flawed plates are spoilt alike (bench/detection_scans.py). First single scans; then where something buzzed a second one with the part held, as the report asks; then beside one and three
earlier ones (bench/detection_pairs.py). Decay rules are also tried on mode lists with modelled errors (bench/compare_scans.py), many more of them.
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
from bench.detection_scans import USUAL_PLACES, Plate
from bench.detection_store import (
    EARLIER,
    SEEDS,
    SETTING,
    SETTINGS,
    Row,
    denser,
    earlier_visits,
    first_visits,
    fresh_visits,
    held_again,
    layout_of,
    make,
    read,
)
from bench.doc_pages import between
from bench.pod import interval
from bench.reach_file import share, write_part
from bench.table_folder import read_tables
from tapscan.demo.plates import Table, draw_iron, plate_modes
from tapscan.records import Scan
from tapscan.report.reach import limits_sha256
from tapscan.screening.origins import with_origins
from tapscan.screening.rules import RULES, local_ringing, run_rules
from tapscan.screening.strings import string_series

RESULTS = Path(__file__).parent / "results" / "detection.txt"
PAGE = Path(__file__).parents[1] / "docs" / "rules.md"
MARKS = "<!-- figures -->", "<!-- end of figures -->"
SHORT = "<!-- in short -->", "<!-- end of in short -->"
FRESH_SEEDS = 34  # 102 more plates without a flaw
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


def followed(plates: Sequence[Plate], rows: Mapping[str, Row]) -> dict[str, Row]:
    """The rows; where something was heard to buzz what was found with the part held, under the first scan's name, or nothing while that scan is not finished."""
    out = dict(rows)
    for held in held_again(plates, rows):
        first = replace(held, held=False).name
        del out[first]
        if held.name in rows:
            out[first] = rows[held.name]
    return out


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
    return said(with_origins(replace(scan, map=layout_of(pattern)), SETTINGS))[0]


def counted(rows: Sequence[Judged]) -> dict[str, Any]:
    """What the report says of each rule, for tapscan/report/reach.json; and what a test holds against docs/rules.md."""
    sound = [r for r in rows if r.kind == "sound"]
    return {
        "relevant": relevant_by_rule(rows),
        "any_relevant": counted_kinds(rows),
        "buzz": {
            name: share(
                sum(_buzzes(r) for r in sound if r.rattles == rattles), sum(r.rattles == rattles for r in sound)
            )
            for name, rattles in (("rattling", True), ("quiet", False))
        },
        "string_on_bare": share(sum(r.string for r in sound), len(sound)),
    }


def relevant_by_rule(rows: Sequence[Judged]) -> dict[str, Any]:
    """Kind, rule: how often that rule raised something relevant."""
    by_kind = {k: [r for r in rows if r.kind == k] for k in kinds_of(rows)}
    names = [rule.NAME for rule in RULES]
    return {
        k: {n: share(sum(n in r.relevant for r in found), len(found)) for n in names} for k, found in by_kind.items()
    }


def counted_kinds(rows: Sequence[Judged] | Sequence[Told]) -> dict[str, Any]:
    """Something relevant, by kind."""
    by_kind = {k: [bool(r.relevant) for r in rows if r.kind == k] for k in sorted({r.kind for r in rows})}
    return {k: share(sum(found), len(found)) for k, found in by_kind.items()}


def _buzzes(row: Judged) -> bool:
    return "buzz" in row.relevant | row.other


@dataclass(frozen=True)
class Found:
    """All that is counted through the sound; patterns that set limits apart."""

    first: list[Judged]  # single scans as they come
    ended: list[Judged]  # the part held where something buzzed
    setting: list[Judged]
    more: list[Judged]  # at more places, as they come
    more_ended: list[Judged]
    beside: dict[int, list[Told]]  # by the number of earlier scans; the part held where something buzzed
    fresh: list[Judged]  # castings without a flaw that were looked at last of all, the part held where something buzzed
    fresh_beside: dict[int, list[Told]]


def found_of(plates: Sequence[Plate], more: Sequence[Plate], fresh: Sequence[Plate], rows: Mapping[str, Row]) -> Found:
    """From the finished scans."""
    unseen = [p for p in plates if p.table.name not in SETTING]
    ended = followed([*plates, *more, *fresh], rows)

    def judged_of(some: Sequence[Plate], told: Mapping[str, Row]) -> list[Judged]:
        return [judged(told[p.name]) for p in some if p.name in told]

    return Found(
        judged_of(unseen, rows),
        judged_of(unseen, ended),
        judged_of([p for p in plates if p.table.name in SETTING], rows),
        judged_of(more, rows),
        judged_of(more, ended),
        {n: pairs(unseen, ended, n) for n in (1, EARLIER)},
        judged_of(fresh, ended),
        {n: pairs(fresh, ended, n) for n in (1, EARLIER)},
    )


def report(tables: dict[str, Table], found: Found, more_places: int) -> str:
    """All tables as text."""
    limits = limits_sha256(SETTINGS, "single")
    others = {n: t for n, t in tables.items() if n not in SETTING}
    beside, fresh = (
        [
            line
            for n, told in some.items()
            for line in ("", f"The disposition beside {n} earlier {'scan' if n == 1 else 'scans'}", *pair_table(told))
        ]
        for some in (found.beside, found.fresh_beside)
    )
    return "\n".join(
        [
            f"tapscan {tapscan.__version__}, Python {platform.python_version()}, {os.cpu_count()} cores, {time.strftime('%Y-%m-%d')}",
            f"limits {limits}; all {USUAL_PLACES} places of the simulated layout unless said otherwise, one soft and one hard tap each; 95 % Clopper-Pearson; SIMULATED",
            *["", "Single scans through the sound, three patterns, castings that set no limit", *table(found.first)],
            rattling(found.first),
            *["", "The same by pattern, something relevant", *by_pattern(found.first)],
            *["", "The same, with the part held and tapped again where something buzzed", *table(found.ended)],
            *["", f"Single scans at {more_places} places", *table(found.more), rattling(found.more)],
            *["", f"The same at {more_places} places by pattern, something relevant", *by_pattern(found.more)],
            *["", f"At {more_places} places, with the part held where something buzzed", *table(found.more_ended)],
            *["", "Beside earlier scans of the same casting; in the later scan the part held where something buzzed"],
            *beside,
            *[
                "",
                "More castings without a flaw, looked at by nobody before the last change of any rule; the part held where something buzzed",
            ],
            *table(found.fresh),
            *fresh,
            *["", "Mode lists beside three earlier scans, the same patterns: the comparison", *modelled_chill(others)],
            *["", "Asides, the single scans", *asides(found.first)],
            *["", "Through the sound, the two setting patterns (other castings)", *table(found.setting)],
            rattling(found.setting),
            *["", "Mode lists with modelled errors, the three patterns, castings that set no limit", *modelled(others)],
            "",
        ]
    )


def page(text: str, figures: str, counts: Mapping[str, Any], beside: Mapping[str, Any]) -> str:
    """The page of the rules with these figures in it: all of them, and the counts in short."""
    return between(between(text, MARKS, f"```text\n{figures}```"), SHORT, "\n".join(in_short(counts, beside)))


def in_short(counts: Mapping[str, Any], beside: Mapping[str, Any]) -> list[str]:
    """A table of something relevant: single scans, then dispositions beside earlier ones."""
    columns = {
        "single scan": counts["any_relevant"],
        "the same, part held where it buzzed": counts["ended"],
        f"{counts['more_places_tapped']} places, part held": counts["more_places_ended"],
        "beside one earlier scan": beside["any_relevant"],
        "beside three": beside["three"],
    }
    lines = [f"| plate | {' | '.join(columns)} |", f"|---{'|---' * len(columns)}|"]
    for kind in sorted(counts["any_relevant"], key=lambda k: (k != "sound", k)):
        words = "without a flaw" if kind == "sound" else kind
        lines.append(f"| {words} | {' | '.join(_cell(found.get(kind)) for found in columns.values())} |")
    return lines


def _cell(found: Mapping[str, Any] | None) -> str:
    if found is None:
        return "not run"
    return f"{found['spoke']} of {found['of']} ({100 * found['low']:.1f} to {100 * found['high']:.1f} %)"


def main() -> None:
    """Make scans for a while, then the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("work", type=Path)
    parser.add_argument("--tables", type=Path, required=True)
    parser.add_argument("--more-places", type=Path, help="tables of the same patterns with more stations")
    parser.add_argument("--minutes", type=float, default=100.0)
    parser.add_argument("--seeds", type=int, default=SEEDS)
    parser.add_argument("--fresh", type=int, default=FRESH_SEEDS, help="seeds of more castings without a flaw")
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    given = parser.parse_args()
    given.work.mkdir(parents=True, exist_ok=True)
    tables, dense = read_tables(given.tables), read_tables(given.more_places)
    later = list(first_visits(tables, given.seeds))
    more = denser(later, dense)
    fresh = list(fresh_visits(tables, given.fresh))
    plates = [*later, *more, *fresh, *earlier_visits([*later, *fresh])]
    until = time.time() + 60 * given.minutes
    make(plates, given.work, until, given.cores)
    rows = read(plates, given.work)
    again = held_again([*later, *more, *fresh], rows)
    make(again, given.work, until, given.cores)
    found = found_of(later, more, fresh, {**rows, **read(again, given.work)})
    more_places = max((len(t.station_names) for t in dense.values()), default=0)
    text = report(tables, found, more_places)
    counts = {
        **counted(found.first),
        "ended": counted_kinds(found.ended),
        "more_places": relevant_by_rule(found.more),
        "more_places_ended": counted_kinds(found.more_ended),
        "more_places_tapped": more_places,
    }
    beside = {
        "any_relevant": counted_kinds(found.beside[1]),
        "three": counted_kinds(found.beside[EARLIER]),
        "fresh": {
            "single": counted_kinds(found.fresh),
            "one": counted_kinds(found.fresh_beside[1]),
            "three": counted_kinds(found.fresh_beside[EARLIER]),
        },
    }
    write_part("single", counts)
    write_part("beside", beside)
    RESULTS.write_text(text, encoding="utf-8")
    PAGE.write_text(page(PAGE.read_text(encoding="utf-8"), text, counts, beside), encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
