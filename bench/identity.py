"""How often another casting, or two exchanged places, are noticed, and how often a right scan is asked about in vain.

    python -m bench.identity [--castings N] [--first N] [--cores N] [--tables FOLDER --places 24]

N castings of each shipped pattern (80: 400 castings), numbered from --first on, so that a count on castings that nobody has looked at is a new number, each with one earlier scan and several later ones: unchanged, with a coat of finish, with each flaw
that can come between two scans (cracks, a weight; not chilled iron, which is there from the start), another casting of the pattern, a
plate of another pattern, and the unchanged one with two places exchanged. Even castings are heard at 8 places, odd ones at 20, which is all the tables have.
Scans are mode lists with modelled errors (bench/compare_scans.model_scan). The limits were chosen by looking at other castings of the same
patterns (48 a pattern, other seeds). Simulated; no iron was measured. The table goes to bench/results/identity.txt.

With --tables the castings are of a folder's tables (bench/plates, the 36 places of bench.location), all heard at so many places; that goes to identity_24.txt.
"""

from __future__ import annotations

import argparse
import os
from collections import Counter
from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from bench import study
from bench.compare_scans import PICKUP, draw_state, model_scan, stations_of
from bench.table_folder import read_tables
from tapscan.demo.plates import Table, draw_iron, load_table, pattern_names, plate_modes
from tapscan.records import Scan
from tapscan.screening.compare.identity import exchanged, fingerprint, not_judged, whose
from tapscan.settings import Settings

SETTINGS = Settings()
PLACES = (8, 20)  # the shipped tables have 20
FINISH_M = 3e-4
WEIGHT_KG = 0.5
RESULTS = Path(__file__).parent / "results"
RIGHT = ("unchanged", "finished since", "weight of 0.5 kg", "crack", "severed strut")


@cache
def _tables(folder: Path) -> dict[str, Table]:
    return read_tables(folder)


class Casting(Struct, frozen=True):
    """One unit of the study."""

    pattern: str
    number: int
    tables: Path | None = None  # a folder's instead of the shipped ones
    counted: int = 0  # places tapped; 0 for those of PLACES in turn

    @property
    def places(self) -> int:
        return self.counted or PLACES[self.number % len(PLACES)]

    def table(self, pattern: str) -> Table:
        return _tables(self.tables)[pattern] if self.tables else load_table(pattern)

    def other_patterns(self) -> list[str]:
        every = list(_tables(self.tables)) if self.tables else pattern_names()
        return [name for name in every if name != self.pattern]


class Answer(Struct, frozen=True):
    """What is said of one later scan."""

    kind: str
    places: int
    whose: str
    exchanged: tuple[tuple[str, ...], ...]
    truth: tuple[str, ...] = ()  # places that were exchanged

    @property
    def asked(self) -> bool:
        """Whether a person is asked about it."""
        return self.whose.startswith("another") or bool(self.exchanged)


def answers(casting: Casting) -> list[Answer]:
    """Of all later scans of one casting."""
    rng = np.random.default_rng(study.seed_of("identity", f"{casting.pattern} {casting.number}"))
    table, count = casting.table(casting.pattern), casting.places
    iron = draw_iron(table, rng)
    earlier = model_scan(plate_modes(table, "sound", iron, draw_state(rng)), PICKUP, rng, SETTINGS, count)
    told = []
    for kind, plate in _later(table, iron, casting, rng):
        scan = model_scan(plate, PICKUP, rng, SETTINGS, count)
        told.append(_answer(kind, count, earlier, scan))
        if kind == "unchanged":
            names = stations_of(plate, count)
            first, second = (names[k] for k in rng.choice(count, 2, replace=False))
            told.append(_answer("exchanged places", count, earlier, exchange(scan, first, second), (first, second)))
    return told


def _later(table: Table, iron: object, casting: Casting, rng: np.random.Generator) -> Iterator[tuple[str, object]]:
    def made(label: str = "sound", of: Table = table, by: object = iron, **state: object) -> object:
        return plate_modes(of, label, by, draw_state(rng, **state))  # type: ignore[arg-type]

    yield "unchanged", made()
    yield "finished since", made(finish_m=FINISH_M)
    yield "weight of 0.5 kg", made(masses_kg=((casting.number % 5, WEIGHT_KG),))
    for label in table.labels[1:]:
        if not label.startswith("chilled"):
            yield "severed strut" if label.startswith("severed") else "crack", made(label)
    yield "another casting", made(by=draw_iron(table, rng))
    others = casting.other_patterns()
    other = casting.table(others[casting.number % len(others)])
    yield "another pattern", made(of=other, by=draw_iron(other, rng))


def exchange(scan: Scan, first: str, second: str) -> Scan:
    """The same scan with the taps at two places taken for each other's."""
    other = {first: second, second: first}
    modes = [
        replace(m, amplitudes=tuple(replace(s, station=other.get(s.station, s.station)) for s in m.amplitudes))
        for m in scan.modes
    ]
    return replace(scan, modes=tuple(modes))


def _answer(kind: str, places: int, earlier: Scan, later: Scan, truth: tuple[str, ...] = ()) -> Answer:
    if not_judged(earlier, later, SETTINGS):
        return Answer(kind, places, "not judged", (), truth)
    said = whose(fingerprint(earlier, later, SETTINGS), SETTINGS)
    moved = () if said.startswith("another") else exchanged(earlier, later, SETTINGS)
    return Answer(kind, places, said, moved, truth)


def right_imports(told: Sequence[Sequence[Answer]]) -> list[Answer]:
    """Two a casting: the unchanged one, and one that was finished, weighted or cracked since, in turn."""
    out = []
    for number, mine in enumerate(told):
        changed = [a for a in mine if a.kind in RIGHT[1:]]
        out += [next(a for a in mine if a.kind == "unchanged"), changed[number % len(changed)]]
    return out


def table(told: Sequence[Sequence[Answer]]) -> list[str]:
    """One line a kind, then what was asked for."""
    every = [a for mine in told for a in mine]
    lines = ["asked about, of each kind"]
    for kind in dict.fromkeys(a.kind for a in every):
        part = [a for a in every if a.kind == kind]
        said = ", ".join(f"{w} {n}" for w, n in sorted(Counter(a.whose for a in part).items()))
        lines.append(f"  {kind:20s} {rate(sum(a.asked for a in part), len(part))}   {said}")
    counts = sorted({a.places for a in every})
    lines += ["", "another casting noticed, by the number of places"]
    for places in counts:
        part = [a for a in every if a.kind == "another casting" and a.places == places]
        lines.append(_line(places, sum(a.asked for a in part), len(part)))
    lines += ["", "exchanged places named, and no others, by the number of places"]
    for places in counts:
        part = [a for a in every if a.truth and a.places == places]
        lines.append(_line(places, sum(named(a) for a in part), len(part)))
    lines += ["", "right scans, half of them unchanged, half finished, weighted or cracked since: asked in vain"]
    for places in counts:
        some = right_imports([mine for mine in told if mine[0].places == places])
        lines.append(_line(places, sum(a.asked for a in some), len(some)))
    return lines


def _line(places: int, hits: int, of: int) -> str:
    return f"  {places:2d} places           {rate(hits, of)}"


def named(answer: Answer) -> bool:
    """Whether just the exchanged places are named."""
    return [set(group) for group in answer.exchanged] == [set(answer.truth)]


def rate(hits: int, of: int) -> str:
    """With its 95 % interval."""
    low, high = study.clopper_pearson(hits, of)
    return f"{hits:4d} of {of:4d}  {100 * hits / of:5.1f} % ({100 * low:4.1f} to {100 * high:5.1f})"


def castings(each: int, folder: Path | None = None, places: int = 0, first: int = 0) -> list[Casting]:
    """Patterns in turn, numbered from `first` on."""
    patterns = list(_tables(folder)) if folder else pattern_names()
    return [Casting(p, n, folder, places) for n in range(first, first + each) for p in patterns]


def main(arguments: Sequence[str] | None = None) -> None:
    """Count, print and write."""
    parser = argparse.ArgumentParser(prog="python -m bench.identity", description=__doc__)
    parser.add_argument("--castings", type=int, default=40, help="of each pattern")
    parser.add_argument("--first", type=int, default=0, help="number of the first casting of each pattern")
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--tables", type=Path, help="a folder of bench/plates")
    parser.add_argument("--places", type=int, default=0, help="tapped, of those the tables have")
    given = parser.parse_args(arguments)
    if bool(given.tables) != bool(given.places):
        parser.error("--tables and --places belong together")
    units = castings(given.castings, given.tables, given.places, given.first)
    told = [result for _, result in study.finished(units, answers, float("inf"), given.cores)]
    lines = [
        study.head(f"of the casting's name, {given.first} to {given.first + given.castings - 1} of each pattern"),
        "Simulated mode lists by contact pickup, no sound, no iron; 95 % intervals (Clopper and Pearson).",
        "",
        *table(told),
    ]
    name = f"identity_{given.places}.txt" if given.places else "identity.txt"
    (RESULTS / name).write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
