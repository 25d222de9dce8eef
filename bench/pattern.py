"""How often a plate beside others of its pattern is called rightly and wrongly, by the number of references.

    python -m bench.pattern WORK --tables FOLDER [--minutes N] [--part make|scans|count|speed]

`make` solves the plates (bench/pattern_plates.py: five patterns that are counted, and with --tuned five others on which the limits were set), `scans` makes castings of each at
each level of scatter (bench/pattern_scans.py), `count` holds each casting against references drawn among the others and counts what the rule says, `speed` searches 1,000 references in a
register. Without --part all of it. Simulated mode lists at 12 places, contact pickup; no iron was measured. The table goes to bench/results/pattern.txt and docs/patterns.md, the shares that the report names to reach.json.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Callable, Iterator, Sequence
from functools import cache, partial
from pathlib import Path
from typing import Any

import numpy as np
from msgspec import Struct

from bench import study
from bench.doc_pages import between
from bench.pattern_plates import COUNTED, TUNED, make_tables
from bench.pattern_scans import LEVELS, RUBBING, Unit, heard, path_of, read_scans
from bench.pattern_speed import speed
from bench.reach_file import share, write_part
from tapscan import plain_values
from tapscan.records import Reference, Scan
from tapscan.report.error_rates import constants_of, shipped_limits
from tapscan.screening.pattern import among_sisters, measure, references
from tapscan.screening.pattern.among_sisters import beside_pattern, noticed
from tapscan.screening.pattern.references import reference_of
from tapscan.settings import Settings

SETTINGS = Settings()
CASTINGS = {"half": 64, "as": 64, "double": 24}  # of each pattern
EVERY = 3  # castings: only one in so many is tried with what is printed and not promised
NUMBERS = (3, 5, 10, 20)
ONE_IN = 10  # references, flawed unknown to us
NAMED_AMONG = 10
COUNTED_KINDS = ("sound", "severed", RUBBING)
KINDS = (*COUNTED_KINDS, "chill", "corner", "rim", "depth")
WORDS = {
    "sound": "unflawed",
    "severed": "severed strut",
    RUBBING: "rubbing crack, half a strut deep",
    "chill": "chilled region",
    "corner": "open corner 60 mm",
    "rim": "rim 30 mm",
    "depth": "strut depth 50 %",
}
REPORTED = ("half", "as")
PLACES = 12
RESULTS = Path(__file__).parent / "results" / "pattern.txt"
PAGE = Path(__file__).parents[1] / "docs" / "patterns.md"
MARKS = "<!-- counted -->", "<!-- end of counted -->"


class Group(Struct, frozen=True):
    """One pattern at one level of scatter."""

    pattern: str
    level: str
    work: str
    tables: str


class Answer(Struct, frozen=True):
    """What was said of one casting beside N references."""

    pattern: str
    level: str
    kind: str
    references: int
    casting: int
    flawed: bool  # one in ten references, at random, has a severed strut
    shapes: bool
    losses: bool
    silent: bool  # neither was judged
    loss_silent: bool
    drops: bool
    scatter: float | None
    loss_scatter: float | None


class Named(Struct, frozen=True):
    """Ten references, one of them severed or none."""

    pattern: str
    level: str
    severed: bool
    right: bool  # the severed one stands out
    wrong: int  # others that stand out
    judged: bool  # the references scatter little enough


def _scans(group: Group) -> list[dict[str, Scan]]:
    units = [Unit(group.pattern, group.level, n, group.tables) for n in range(CASTINGS[group.level])]
    return [scans for _, scans in read_scans(Path(group.work), units)]


def _references(scans: Sequence[dict[str, Scan]], kind: str) -> list[Reference]:
    return [reference_of(f"C{i}", s[kind], "contact") for i, s in enumerate(scans)]


def answers(group: Group) -> dict[str, Any]:
    """Of all castings of a group, as JSON holds them."""
    measure.two_apart = cache(measure.two_apart)  # castings serve as references many times
    measure.beside, measure.shape_change = cache(measure.beside), cache(measure.shape_change)
    among_sisters.own_modes = cache(among_sisters.own_modes)
    references.same_plate = cache(references.same_plate)
    scans = _scans(group)
    rng = np.random.default_rng(study.seed_of("pattern references", f"{group.pattern} {group.level}"))
    sound, severed = _references(scans, "sound"), _references(scans, "severed")
    told = []
    for casting, mine in enumerate(scans):
        others = [i for i in range(len(scans)) if i != casting]
        order = [int(i) for i in rng.permutation(others)[: max(NUMBERS)]]  # three are the first of five, and so on
        odd = rng.random(len(order)) < 1 / ONE_IN
        for count in NUMBERS:
            clean = [sound[i] for i in order[:count]]
            spoilt = [severed[i] if bad else sound[i] for i, bad in zip(order[:count], odd, strict=False)]
            for kind in KINDS if casting % EVERY == 0 else COUNTED_KINDS:
                if kind in mine:
                    told.append(_answer(group, kind, casting, mine[kind], clean, flawed=False))
            told += [_answer(group, k, casting, mine[k], spoilt, flawed=True) for k in ("sound", "severed")]
    return {"told": plain_values.plain(told), "named": plain_values.plain(list(_named(group, sound, severed, rng)))}


def _counted_path(work: Path, group: Group) -> Path:
    """Other limits or numbers are another count."""
    return (
        work
        / f"count_{group.pattern}_{group.level}_{CASTINGS[group.level]}_{shipped_limits('pattern')}_{constants_of('pattern')}.json.gz"
    )


def figures(told: Sequence[Answer]) -> dict[str, Any]:
    """For the report: castings that scatter half and as much, references without a flaw."""
    part = [a for a in told if a.level in REPORTED and not a.flawed]

    def spoke(kind: str, counts: Sequence[int]) -> dict[str, Any]:
        mine = [a for a in part if a.kind == kind and a.references in counts]
        return share(sum(a.shapes or a.losses for a in mine), len(mine))

    found = {
        name: {str(n): spoke(kind, [n]) for n in (3, 5)}
        for name, kind in (("severed", "severed"), ("rubbing", RUBBING))
    }
    return {"places_tapped": PLACES, "unflawed": spoke("sound", NUMBERS), "found": found}


def _answer(
    group: Group, kind: str, casting: int, scan: Scan, references: Sequence[Reference], *, flawed: bool
) -> Answer:
    plate = reference_of("plate", scan, "contact")
    found = beside_pattern(group.pattern, plate, scan, references, SETTINGS)
    said = {i.id for i in found.indications}
    return Answer(
        group.pattern,
        group.level,
        kind,
        len(references),
        casting,
        flawed,
        "P1" in said,
        "P2" in said,
        found.unlike.value is None and found.losses.value is None,
        found.losses.value is None,
        found.drops.over,
        found.scatter_percent,
        found.loss_scatter_percent,
    )


def _named(
    group: Group, sound: Sequence[Reference], severed: Sequence[Reference], rng: np.random.Generator
) -> Iterator[Named]:
    """One lot a casting."""
    for casting in range(len(sound)):
        others = [i for i in range(len(sound)) if i != casting]
        rest = [sound[int(i)] for i in rng.choice(others, NAMED_AMONG - 1, replace=False)]
        for odd in (True, False):
            lot = [severed[casting] if odd else sound[casting], *rest]
            found = noticed(lot, SETTINGS)
            out = [s.stands_out for s in found]
            yield Named(group.pattern, group.level, odd, out[0] == odd, sum(out[1:]), True)


def _rates(told: Sequence[Answer], said: Callable[[Answer], bool]) -> str:
    """By the number of references."""
    cells = []
    for count in NUMBERS:
        part = [a for a in told if a.references == count]
        hits = sum(said(a) for a in part)
        low, high = study.clopper_pearson(hits, len(part))
        cells.append(
            f"{hits:4d}/{len(part):<4d} {100 * hits / max(len(part), 1):5.1f} ({100 * low:4.1f}-{100 * high:5.1f})"
        )
    return "  ".join(cells)


def table(told: Sequence[Answer], named: Sequence[Named]) -> list[str]:
    """Everything that is counted."""
    lines = []
    for level in LEVELS:
        part = [a for a in told if a.level == level]
        if not part:
            continue
        castings = len({(a.pattern, a.casting) for a in part})
        scatter = [a.scatter for a in part if a.scatter is not None and a.references == max(NUMBERS)]
        lines += [
            "",
            f"Castings that scatter {level.replace('as', 'as much')}: {castings} castings; measured among 20 references {np.median(scatter):.2f} % a mode (middle)",
            f"{'called by the rule, % (95 %)':44s}" + "  ".join(f"{f'N = {n}':^24s}" for n in NUMBERS),
        ]
        lines += _rows(part)
        lines += _naming([n for n in named if n.level == level])
    return lines


def _rows(part: Sequence[Answer]) -> Iterator[str]:
    def called(a: Answer) -> bool:
        return a.shapes or a.losses

    for kind in KINDS:
        mine = [a for a in part if a.kind == kind and not a.flawed]
        if mine:
            yield f"{WORDS[kind]:44s}{_rates(mine, called)}"
    for kind in ("sound", "severed"):
        mine = [a for a in part if a.kind == kind and a.flawed]
        yield f"{f'{WORDS[kind]}, one in ten references severed':44s}{_rates(mine, called)}"
    severed, rubbing = ([a for a in part if a.kind == k and not a.flawed] for k in ("severed", RUBBING))
    yield f"{'severed strut, by shapes alone':44s}{_rates(severed, lambda a: a.shapes)}"
    yield f"{'rubbing crack, by losses alone':44s}{_rates(rubbing, lambda a: a.losses)}"
    sound = [a for a in part if a.kind == "sound" and not a.flawed]
    yield f"{'silent: the references scatter too much':44s}{_rates(sound, lambda a: a.silent)}"
    yield f"{'silent on losses':44s}{_rates(sound, lambda a: a.loss_silent)}"
    yield "drops beyond what is shown as usual (no indication rests on them)"
    for kind in KINDS:
        mine = [a for a in part if a.kind == kind and not a.flawed]
        if mine:
            yield f"{'  ' + WORDS[kind]:44s}{_rates(mine, lambda a: a.drops)}"


def _naming(named: Sequence[Named]) -> Iterator[str]:
    with_one = [n for n in named if n.severed]
    hits = sum(n.right for n in with_one)
    low, high = study.clopper_pearson(hits, len(with_one))
    wrong, of = sum(n.wrong for n in named), sum(NAMED_AMONG - 1 for _ in named)
    yield f"a severed reference among ten named: {hits}/{len(with_one)}, {100 * hits / max(len(with_one), 1):.1f} % ({100 * low:.1f}-{100 * high:.1f}); unflawed ones named: {wrong}/{of}"


def by_pattern(told: Sequence[Answer]) -> list[str]:
    """Unflawed called, and severed and rubbing found, beside three and five."""
    lines = ["", "By pattern, castings that scatter half and as much together: called, N = 3 and N = 5"]
    for pattern in dict.fromkeys(a.pattern for a in told):
        cells = []
        for kind in ("sound", "severed", RUBBING):
            for count in (3, 5):
                mine = [
                    a
                    for a in told
                    if (a.pattern, a.kind, a.references, a.flawed) == (pattern, kind, count, False)
                    and a.level != "double"
                ]
                cells.append(f"{sum(a.shapes or a.losses for a in mine)}/{len(mine)}")
        lines.append(
            f"{pattern:24s} unflawed {cells[0]} {cells[1]}; severed {cells[2]} {cells[3]}; rubbing {cells[4]} {cells[5]}"
        )
    return lines


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m bench.pattern", description=__doc__)
    parser.add_argument("work", type=Path)
    parser.add_argument("--tables", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=float("inf"))
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--tuned", action="store_true", help="the patterns on which the limits were set; prints only")
    parser.add_argument("--part", choices=("make", "scans", "count", "speed"))
    return parser


def main(arguments: Sequence[str] | None = None) -> None:
    """Make what is missing, count, print and write."""
    given = _parser().parse_args(arguments)
    patterns, until = (TUNED if given.tuned else COUNTED), time.time() + 60 * given.minutes
    if given.part in (None, "make"):
        make_tables(given.tables, patterns)
    every = [(p, level, n) for p in patterns for level in LEVELS for n in range(CASTINGS[level])]
    units = [Unit(p, level, n, str(given.tables)) for p, level, n in every]
    given.work.mkdir(parents=True, exist_ok=True)
    if given.part in (None, "scans"):
        study.make(units, heard, partial(path_of, given.work), until, given.cores)
    lines = [study.head("of the casting's name", "pattern"), __doc__.split("\n\n")[2]]
    if given.part in (None, "count"):
        groups = [Group(p, v, str(given.work), str(given.tables)) for v in LEVELS for p in patterns]
        study.make(groups, answers, partial(_counted_path, given.work), until, given.cores)
        done = [found for g in groups if (found := study.read(_counted_path(given.work, g)))]
        told = [a for some in done for a in plain_values.revived(list[Answer], some["told"])]
        named = [n for some in done for n in plain_values.revived(list[Named], some["named"])]
        lines += [*table(told, named), *by_pattern(told)]
        if not given.tuned and len(done) == len(groups):
            write_part("pattern", figures(told))
    if given.part in (None, "speed"):
        some = Group(patterns[0], "as", str(given.work), str(given.tables))
        lines += speed([scans["sound"] for scans in _scans(some)])
    print("\n".join(lines))
    if given.part is None or (given.part == "count" and not given.tuned):
        RESULTS.write_text("\n".join(lines) + "\n", encoding="utf-8")
        PAGE.write_text(between(PAGE.read_text(encoding="utf-8"), MARKS, f"```text\n{RESULTS.read_text()}```"), "utf-8")


if __name__ == "__main__":
    main()
