"""How often taps at permitted places tell a change of a plate in its piano, around one job and from season to season.

    python -m bench.in_piano WORK --tables FOLDER [--seasons] [--castings N] [--setting] [--minutes N] [--cores N] [--again N]

FOLDER holds the tables of ``python -m bench.plates mounted FOLDER --places 2 --seed 402 --vary 402``, and of further seeds: varied patterns that set no limit and of which no scan was looked at. Where a
drawing cannot be solved the next seed is taken. With ``--setting`` those of the patterns that limits were chosen on (``--places 6 --seed 71``).
WORK keeps each finished scan and is taken up where it was left; the table is made of what is finished, and its head is that of the version that took the first sound apart. What is concluded from the scans is
always of now. Where the two are not one version, ``--again N`` takes the sound of N castings of each pattern apart anew (into WORK/again) and adds how many answers that changes. All goes through the sound: eight places or four, three taps each, pickup on the iron, 50 dB.
Each casting has screws, wood and strings of its own, and one scan before; every fifth one is also scanned with something wrong, with screws that differ by 10 and 20 %, and at four places. A casting gives
one pair a row, so rows are of independent pairs but for their few patterns and places of flaws. bench/simulate/in_piano.py says what is assumed. Simulated; no piano was measured. The table goes to
bench/results/in_piano.txt (with --setting into a file beside it) and, without --setting, the counts at eight places to tapscan/report/reach.json.

``--seasons`` makes two scans at a visit and two at another season's alone, and beside them what one of each tells of the same castings: in_piano_seasons.txt (with --setting beside it, too); of reach.json it writes the
rows of two scans each across seasons and leaves the others. Without it these rows are made last.
"""

from __future__ import annotations

import math
import time
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from bench import study
from bench.doc_pages import between
from bench.in_piano_scans import AGAIN, GONE, LOOSE, SETTINGS, Unit, possible, scan_in
from bench.plates.patterns import NAMES
from bench.reach_file import part_of, share, write_part
from bench.table_folder import read_tables
from tapscan.demo.plates import Table
from tapscan.records import Comparison, Scan, ScanConditions, ScanForComparison
from tapscan.register.codec import plain, record_of
from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.rules import run_rules
from tapscan.sensors import Sensor

MOST_PLACES = 8
FLAWED_EVERY = 5  # castings that are also scanned with something wrong
PLAIN = ("before", "job, same", "season 5 %, same")
WIDEST = ("season 20 %, same",)
LARGE = tuple(f"{when}, {kind}" for kind in ("severed", GONE, "corner 60 mm") for when in ("job", "season 5 %"))
TWICE_PLAIN = (f"before{AGAIN}", f"job, same{AGAIN}")  # tapped once more at the same visit
SEASON_PLAIN = ("before", f"before{AGAIN}", "season 5 %, same", f"season 5 %, same{AGAIN}")
SEASON_FLAWED, SEASON_WIDE = (
    tuple(f"{role}{again}" for role in roles for again in ("", AGAIN))
    for roles in (
        [f"season 5 %, {kind}" for kind in ("corner 60 mm", GONE, "severed")],
        [f"season {percent} %, same" for percent in (20, 10)],
    )
)
REST = (f"job, {LOOSE}", "job, rim 30 mm", "job, depth 50 %", "season 10 %, same")
LIMITS_FROM = {
    *NAMES,
    *(f"{name}-{seed}" for name in NAMES for seed in (91, 92, 401)),
    *(
        "concert-grand-406",
        "parlour-grand-408",
        "small-grand-406",
        "small-grand-407",
        "upright-full-407",
        "upright-three-quarter-407",
    ),
}  # limits were chosen on these, or raised after a look at them
RESULTS = Path(__file__).parent / "results"
PAGE = Path(__file__).parents[1] / "docs" / "comparison.md"
MARKS = "<!-- piano -->", "<!-- end of piano -->"
SEASON_MARKS = "<!-- piano, seasons -->", "<!-- end of piano, seasons -->"
PICKUP = Sensor("contact", mass_g=3.0, place="hitch web, bass")
BEFORE, SAME_DAY, LATER = "2026-03-02", "2026-03-02", "2026-09-14"
AIMS = {"single, same": (0.0, 0.02), "job, same": (0.0, 0.01), "season 5 %, same": (0.0, 0.02)}
AIMS |= {f"job, {kind}": (0.90, 1.0) for kind in (GONE, LOOSE, "severed", "corner 60 mm", "rim 30 mm", "depth 50 %")}  # fmt: skip
AIMS |= {row.replace("job", "job twice", 1): aim for row, aim in AIMS.items() if row.startswith("job")}
AIMS |= {f"season 5 %, {kind}": (0.85, 1.0) for kind in ("severed", GONE, "corner 60 mm")}
AIMS |= {row.replace("%", "% twice", 1): aim for row, aim in AIMS.items() if row.startswith("season")}
Counts = dict[tuple[int, str], list[bool]]  # by places and row


def units_of(patterns: Sequence[str], each: int, luck: str) -> list[tuple[Unit, str]]:
    """Castings in turn: those without a flaw first, then screws that differ most and what is large, then the rest, then four places."""
    every = [(p, n) for n in range(each) for p in patterns]
    some = [(p, n) for p, n in every if n % FLAWED_EVERY == 0]
    flawed_again = tuple(f"{role}{AGAIN}" for role in (*LARGE, *REST) if role.startswith("job"))
    most = MOST_PLACES
    turns = (
        (every, most, PLAIN),
        (some, most, (*WIDEST, *LARGE)),
        (some, most, REST),
        (some, 4, PLAIN),
        (every, most, TWICE_PLAIN),
        (some, most, flawed_again),
    )
    units = [(Unit(p, n, at, luck=luck), role) for castings, at, roles in turns for p, n in castings for role in roles]
    return list(dict.fromkeys([*units, *season_units(patterns, each, luck)]))


def season_units(patterns: Sequence[str], each: int, luck: str) -> list[tuple[Unit, str]]:
    """Two scans at either visit, casting by casting: those also scanned with something wrong first, last where screws differ by more."""
    every = range(each)
    turns = (
        (every[::FLAWED_EVERY], (*SEASON_PLAIN, *SEASON_FLAWED)),
        (every, SEASON_PLAIN),
        (every[::FLAWED_EVERY], SEASON_WIDE),
    )
    units = [
        (Unit(p, n, MOST_PLACES, luck=luck), role)
        for numbers, roles in turns
        for n in numbers
        for p in patterns
        for role in roles
    ]
    return list(dict.fromkeys(units))


def path_of(unit: tuple[Unit, str], work: Path) -> Path:
    """Where the finished scan is kept."""
    it, role = unit
    return work / f"{it.luck}; {it.pattern}; {it.number}; {it.places}; {it.strings}; {role.replace(',', '')}.json.gz"


def made(tables: Mapping[str, Table], unit: tuple[Unit, str]) -> Any:
    """As JSON can hold it."""
    it, role = unit
    scan = scan_in(it, tables[it.pattern], role)
    return None if scan is None else plain(scan)


def compared(before: Scan, scan: Scan, role: str, again: tuple[Scan, Scan] | None = None) -> Comparison:
    """As a careful technician writes all down. `again` : one more scan of the visit before, and of the one after."""
    date = SAME_DAY if role.startswith("job") else LATER
    earlier, later = _named("P/1", BEFORE, before), _named("P/3", date, scan)
    if again is None:
        return compare_scans(later, [earlier], SETTINGS)
    baselines = [_named("P/0", BEFORE, again[0]), earlier]
    return compare_scans(later, baselines, SETTINGS, again=[_named("P/2", date, again[1])])


def _named(name: str, date: str, scan: Scan) -> ScanForComparison:
    return ScanForComparison(name, date, ScanConditions(state="strung", sensor=PICKUP, fittings=()), scan)


def alone(scan: Scan) -> bool:
    """Whether any rule makes a relevant finding of this scan by itself."""
    return any(i.interpretation == "relevant" for i in run_rules(scan, SETTINGS)[0])


def answers_of(units: Sequence[tuple[Unit, str]], work: Path) -> dict[tuple[str, int, int, str], tuple[bool, bool]]:
    """Of what is finished, by pattern, casting, places and row: whether something relevant is found, and whether there is a figure to tell by."""
    found: dict[tuple[str, int, int], dict[str, Scan]] = defaultdict(dict)
    for it, role in units:
        if (row := study.read(path_of((it, role), work))) is not None:
            found[it.pattern, it.number, it.places][role] = record_of(Scan, row)
    out = {}
    for casting, scans in found.items():
        for name, told in _rows(scans):
            answer = (told, True) if isinstance(told, bool) else (bool(told.indications), told.statistic is not None)
            out[*casting, name] = answer
    return out


def _rows(scans: Mapping[str, Scan]) -> Iterator[tuple[str, bool | Comparison]]:
    """Of one casting."""
    if (before := scans.get("before")) is None:
        return
    yield "single, same", alone(before)
    for role, scan in scans.items():
        if role.startswith("before") or role.endswith(AGAIN):
            continue
        yield role, compared(before, scan, role)
        again = scans.get(f"before{AGAIN}"), scans.get(f"{role}{AGAIN}")
        if again[0] and again[1]:
            when, kind = role.split(", ", 1)
            yield f"{when} twice, {kind}", compared(before, scan, role, (again[0], again[1]))


def counts_of(units: Sequence[tuple[Unit, str]], work: Path) -> tuple[Counts, dict[int, int]]:
    """By row; and how many comparisons gave no figure, by places."""
    counts: Counts = defaultdict(list)
    without: dict[int, int] = defaultdict(int)
    for (_, _, places, row), (found, told) in answers_of(units, work).items():
        counts[places, row].append(found)
        without[places] += not told
    return dict(counts), dict(without)


def held_again(tables: Mapping[str, Table], units: Sequence[tuple[Unit, str]], work: Path, cores: int) -> str:
    """One line: the answers of kept scans beside those of the same sound taken apart by this version."""
    (work / "again").mkdir(exist_ok=True)
    study.make(units, partial(made, tables), partial(path_of, work=work / "again"), math.inf, cores)
    kept, now = answers_of(units, work), answers_of(units, work / "again")
    both = [u for u in now if u in kept]
    other = [
        f"{u[0]} {u[1]}, {u[3]}: {'found' if now[u][0] else 'not found'} now" for u in both if now[u][0] != kept[u][0]
    ]
    castings = len({u[:3] for u in both})
    return f"Concluded and, of {castings} castings, taken apart anew at {study.commit()}: {len(both) - len(other)} of {len(both)} answers are the same{''.join(f'; {o}' for o in other)}"


def table_of(counts: Counts, without: Mapping[int, int], head: str, patterns: int) -> str:
    """Every row with its interval and what was aimed at."""
    lines = [head, f"SIMULATED. {patterns} patterns in their pianos, pickup on the iron, 50 dB, felt between the strings; relevant findings; 95 % intervals (Clopper and Pearson)"]  # fmt: skip
    for places in sorted({p for p, _ in counts}, reverse=True):
        lines += ["", f"{places} places, three taps each ({without.get(places, 0)} comparisons without an answer)"]
        lines += [_line(row, said) for (p, row), said in sorted(counts.items(), key=lambda kv: _order(kv[0][1])) if p == places]  # fmt: skip
    return "\n".join(lines) + "\n"


def _order(row: str) -> tuple[int, int, str]:
    when, kind = row.split(", ", 1)
    percent = int(when.split()[1]) if when.startswith("season") else 0
    return (
        ("single", "job", "job twice", "season", "season twice").index(when.replace(f" {percent} %", "")),
        percent,
        "" if kind == "same" else kind,
    )


def _line(row: str, said: Sequence[bool]) -> str:
    hits, of = sum(said), len(said)
    low, high = study.clopper_pearson(hits, of)
    aim = AIMS.get(row)
    told = (
        ""
        if aim is None
        else f"   aim {'at most' if aim[0] == 0 else 'at least'} {100 * (aim[1] if aim[0] == 0 else aim[0]):.0f} %"
    )
    missed = "" if aim is None or aim[0] <= hits / of <= aim[1] else ", NOT REACHED"
    return f"  {row:28s} {hits:4d} of {of:4d}  {100 * hits / of:5.1f} % ({100 * low:4.1f} to {100 * high:5.1f}){told}{missed}"


def figures_of(counts: Counts, places: int = MOST_PLACES) -> dict[str, Any]:
    """By when and kind, as the report reads them."""
    found: dict[str, Any] = {"places_tapped": places}
    for (tapped, row), said in counts.items():
        if tapped == places:
            when, kind = row.split(", ", 1)
            found.setdefault(when, {})[kind] = share(sum(said), len(said))
    return found


def main(arguments: Sequence[str] | None = None) -> None:
    """Count, print and write."""
    parser = study.parser_of("bench.in_piano", __doc__, "in piano")
    parser.add_argument("--castings", type=int, default=30, help="of each pattern")
    parser.add_argument("--seasons", action="store_true", help="two scans at either visit across seasons alone")
    parser.add_argument(
        "--again", type=int, default=0, help="castings of each pattern to take apart anew beside the kept ones"
    )
    given = parser.parse_args(arguments)
    tables = read_tables(given.tables)
    if not given.setting and (seen := sorted(LIMITS_FROM & set(tables))):
        parser.error(f"limits come from {', '.join(seen)}: count on others, or say --setting")
    every = (season_units if given.seasons else units_of)(list(tables), given.castings, given.luck)
    units = [u for u in every if possible(tables[u[0].pattern], u[1])]
    for pattern, role in sorted({(u[0].pattern, u[1]) for u in every} - {(u[0].pattern, u[1]) for u in units}):
        print(f"not in the table of {pattern}: {role}")
    given.work.mkdir(parents=True, exist_ok=True)
    head, until = study.kept_head(given.work, given.luck, "piano"), time.time() + 60 * given.minutes
    study.make(units, partial(made, tables), partial(path_of, work=given.work), until, given.cores)
    counts, without = counts_of(units, given.work)
    if given.again:
        some = [u for u in units if u[0].number < given.again and u[0].places == MOST_PLACES]
        head += "\n" + held_again(tables, some, given.work, given.cores)
    text = table_of(counts, without, head, len(tables))
    name = f"in_piano{'_seasons' if given.seasons else ''}{'_setting' if given.setting else ''}.txt"
    (RESULTS / name).write_text(text, encoding="utf-8")
    if not given.setting:
        _publish(counts, text, given.seasons)
    print(text)


def _publish(counts: Counts, text: str, seasons: bool) -> None:
    """To the report's figures and to the page. `seasons` : of the figures the rows of two scans each across seasons alone."""
    figures = figures_of(counts)
    if seasons:
        kept = {k: v for k, v in part_of("piano").items() if k == "places_tapped" or isinstance(v, dict)}
        figures = kept | {k: v for k, v in figures.items() if k.startswith("season") and k.endswith("twice")}
    write_part("piano", figures)
    page = between(PAGE.read_text(encoding="utf-8"), SEASON_MARKS if seasons else MARKS, f"```text\n{text}```")
    PAGE.write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
