"""How often the comparison is right on supports and by hands that set none of its limits.

    python -m bench.supports WORK --tables FOLDER [--castings N] [--luck WORDS] [--setting] [--minutes N] [--cores N]

WORK keeps what each casting told, a file each, and is taken up where it was left; another version needs another WORK. After N minutes the table is made of what is finished.
FOLDER holds the tables of ``python -m bench.plates cache FOLDER --places 4 --sizes study --stations 60 --seed 32`` of the three patterns that set no limit; each is laid on foam, blocks, trestles and
battens, and on pads as well for what such a plate shows of a flaw (bench/simulate/supports.py). ``--setting`` : the families on which limits were chosen, with tables of the two setting patterns (--places 2 --seed 31).
N castings of each pattern and family (8), each with three earlier scans, ten unchanged later ones, one with each flaw, and three of one day by a careful hand with what another day brings.
Other ``--luck``, other castings. Mode lists with modelled errors; simulated, no iron was measured. Castings are the unit of every interval. The table goes to bench/results/supports.txt (supports_setting.txt) and, without
--setting, to docs/comparison.md, and the counts of three earlier scans to tapscan/report/reach.json.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path

from msgspec.structs import astuple, replace
from threadpoolctl import threadpool_limits

from bench import study
from bench.doc_pages import between
from bench.reach_file import write_part
from bench.simulate.supports import FAMILIES
from bench.supports_castings import EARLIER, LATER, SETTINGS, SETTLED, Casting, Heard, scans_of, wider
from bench.supports_table import Told, counted, report
from bench.table_folder import read_tables
from tapscan.demo.plates import Table
from tapscan.records import Comparison, ScanConditions, ScanForComparison
from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.sensors import Sensor

PAGE = Path(__file__).parents[1] / "docs" / "comparison.md"
MARKS = "<!-- supports -->", "<!-- end of supports -->"
RESULTS = Path(__file__).parent / "results"
PICKUP = Sensor("contact", mass_g=3.0, place="hitch web, bass")
ELSEWHERE = Sensor("contact", mass_g=3.0, place="hitch web, treble")
HEAVIER = Sensor("contact", mass_g=8.0, place="hitch web, bass")


def _path(work: Path, casting: Casting) -> Path:
    return work / f"{casting.study}, {casting.pattern}, {casting.family}, {casting.number}.json.gz"


def _rows(tables: Mapping[str, Table], casting: Casting) -> list[tuple[object, ...]]:
    """As JSON can hold them."""
    return [astuple(replace(t, casting=None))[1:] for t in told_of(tables, casting)]  # type: ignore[arg-type]


def told_of(tables: Mapping[str, Table], casting: Casting) -> list[Told]:
    """Every comparison of one casting."""
    with threadpool_limits(1):
        table = tables[casting.pattern]
        heard = scans_of(casting, table)
        scatter = wider(casting, table)
        return [_told(casting, scatter, kind, n, found) for kind, n, found in _comparisons(heard)]


def _told(casting: Casting, scatter: float, kind: str, earlier: int, found: Comparison) -> Told:
    return Told(
        casting,
        scatter,
        kind,
        earlier,
        bool(found.indications),
        found.undecided is not None,
        tuple(i.id for i in found.indications),
        found.statistic,
        found.common is not None,
        found.common.agrees if found.common else None,
    )


def _comparisons(heard: Mapping[str, Heard]) -> Iterator[tuple[str, int, Comparison]]:
    base = [named(heard[f"base {n}"], n + 1) for n in range(EARLIER)]
    for role, one in heard.items():
        word, _, rest = role.partition(" ")
        if word in ("same", "flaw", "warm"):
            kind = {"same": "unchanged", "warm": f"{rest} K end to end"}.get(word, rest)
            for earlier in range(1, EARLIER + 1):
                yield kind, earlier, compare_scans(named(one, 20), base[:earlier], SETTINGS)
    yield from _settled(heard, base[0])
    yield from _another_day(heard)
    for words, sensor in (("pickup elsewhere", ELSEWHERE), ("heavier pickup", HEAVIER)):
        yield words, EARLIER, compare_scans(named(heard["same 0"], 20, sensor), base, SETTINGS)


def _settled(heard: Mapping[str, Heard], base: ScanForComparison) -> Iterator[tuple[str, int, Comparison]]:
    """One earlier scan, and the plate as it is now scanned three times."""
    for n in range(LATER - 2):
        two = [named(heard[f"same {k % LATER}"], 21 + k - n) for k in (n + 1, n + 2)]
        yield (
            "unchanged, scanned twice more",
            1,
            compare_scans(named(heard[f"same {n}"], 24), [base], SETTINGS, again=two),
        )
    for kind in SETTLED:
        if f"again {kind} 0" in heard:
            two = [named(heard[f"again {kind} {k}"], 21 + k) for k in (0, 1)]
            yield (
                f"{kind}, scanned twice more",
                1,
                compare_scans(named(heard[f"flaw {kind}"], 24), [base], SETTINGS, again=two),
            )


def _another_day(heard: Mapping[str, Heard]) -> Iterator[tuple[str, int, Comparison]]:
    tight = [named(heard[f"tight {n}"], 1, number=n) for n in range(EARLIER)]
    for role in ("softer", "another day"):
        yield role, EARLIER, compare_scans(named(heard[role], 20), tight, SETTINGS)


def named(heard: Heard, day: int, sensor: Sensor = PICKUP, number: int = 0) -> ScanForComparison:
    """As a careful shop writes it down."""
    conditions = ScanConditions(state="stripped", sensor=sensor, supports="as always", fittings=(), iron_c=heard.iron_c)
    return ScanForComparison(f"P/{day}-{number}", f"2026-01-{day:02d}", conditions, heard.scan)


def castings(patterns: Sequence[str], each: int, luck: str, setting: bool) -> list[Casting]:
    """Families in turn; on pads, where limits were set, patterns that set none still tell what is found."""
    families = [f.name for f in FAMILIES if f.sets == setting or f.name == "pads"]
    return [Casting(p, f, n, luck) for n in range(each) for p in patterns for f in families]


def main(arguments: Sequence[str] | None = None) -> None:
    """Count, print and write."""
    parser = study.parser_of("bench.supports", __doc__, "supports")
    parser.add_argument("--castings", type=int, default=8, help="of each pattern and family")
    given = parser.parse_args(arguments)
    tables = read_tables(given.tables)
    units = castings(list(tables), given.castings, given.luck, given.setting)
    given.work.mkdir(parents=True, exist_ok=True)
    head = study.kept_head(given.work, given.luck, "comparison")
    path_of = partial(_path, given.work)
    study.make(units, partial(_rows, tables), path_of, time.time() + 60 * given.minutes, given.cores)
    told = [Told(u, *row) for u in units for row in study.read(path_of(u)) or ()]
    counts = told if given.setting else [t for t in told if t.casting.family != "pads"]
    if not given.setting:
        write_part("comparison", counted(counts))
    text = report(told, head, given.setting)
    name = "supports_setting.txt" if given.setting else "supports.txt"
    (RESULTS / name).write_text(text, encoding="utf-8")
    if not given.setting:
        brief = report(told, head, given.setting, brief=True)
        PAGE.write_text(between(PAGE.read_text(encoding="utf-8"), MARKS, f"```text\n{brief}```"), encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
