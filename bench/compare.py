"""How often the comparison of two scans is right, on simulated plates: no more than 1 % of unchanged ones called, 80 to 100 % of each flaw found (docs/comparison.md).

    python -m bench.compare WORK [--tables FOLDER] [--minutes N] [--cores N] [--note WORDS] [--rates old]

WORK holds every finished scan, one a line, and is taken up where it was left; FOLDER holds the tables of drawn places made
by ``python -m bench.plates cache FOLDER --places 10 --sizes study``. After N minutes (0: make no scan) the tables over all that is
finished go to bench/results/compare.txt. Rows "sound" went through taps, noise and the estimator; rows "model" had the true modes with
modelled errors. Simulated; no iron was measured.

Limits were chosen on SETTING patterns; unchanged plates of all other patterns set none of them. A pair is unchanged, flawed
or weighted; between scans the pads move by up to 30 mm, their stiffness by 10 %, the temperature by -8 to +8 K, and hits, forces and noise are others.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from bench import study
from bench.compare_scans import FAR, NEAR, PICKUP, QUIET, RATE_HZ, Setting, model_scan, sound_scan
from bench.compare_store import Casting, Maker, Store, key_of, scan_of
from bench.compare_tables import KINDS, SETTING, Result, family_of, tables
from bench.table_folder import read_tables
from tapscan.demo.plates import Table, load_table, pattern_names
from tapscan.records import Comparison, Scan, ScanConditions, ScanForComparison
from tapscan.screening.compare.compare_scans import compare_scans, plate_alone
from tapscan.screening.compare.condition_changes import changed_conditions
from tapscan.screening.compare.measure import Measured, measure
from tapscan.screening.compare.repeatability import shared_stations
from tapscan.sensors import Sensor
from tapscan.settings import Settings

SETTINGS = Settings()
BASES = ("base 0", "base 1", "base 2")
ROOM_KINDS = ("width 50 %", "depth 25 %", "inner corner 30 mm", "rim 30 mm")
MODEL_SEEDS = range(2000, 2060)


class Job(Struct, frozen=True, eq=False):
    """One later scan of one casting, heard in one setting."""

    casting: Casting
    setting: Setting
    role: str

    @property
    def family(self) -> str:
        """The row it belongs to."""
        kind, _, rest = self.role.partition(": ")
        if kind == "flaw":
            return rest.split(",")[0]
        if kind == "mass":
            return f"weight of {rest.partition(': ')[2]} kg"
        return {"same": "unchanged", "rub": "closed crack, rubbing", "finish": "finished since"}[kind.split()[0]]


def sound_jobs(drawn: dict[str, Table], rates: str = "drawn") -> list[Job]:
    """In an order that fills all rows evenly. All scans of a casting in one setting are heard at one sampling rate."""
    return [_at_rate(job, rates) for job in _sound_jobs(drawn)]


def _at_rate(job: Job, rates: str) -> Job:
    unit = f"{job.casting.source}, {job.casting.table.name}, {job.casting.seed}, {job.setting.name}"
    return replace(job, setting=replace(job.setting, rate_hz=study.rate_of("compare", unit, RATE_HZ, rates)))


def _sound_jobs(drawn: dict[str, Table]) -> list[Job]:
    unseen = [p for p in pattern_names() if p not in SETTING]
    jobs = []
    for n in range(10):
        jobs += _drawn_jobs(drawn, n, PICKUP, [family_of(k, s) for k, s in KINDS])
        for seed in range(5 * n, 5 * n + 5):
            jobs += _shipped_jobs(unseen, seed, more=seed % 2 == 0)
        jobs += _drawn_jobs(drawn, n, NEAR, (*ROOM_KINDS, "corner 30 mm"))
        jobs += [Job(Casting("drawn", t, 500 + n), NEAR, f"same {k}") for t in drawn.values() for k in (0, 1)]
    for seed in range(20):
        jobs += _shipped_jobs(SETTING, seed, more=True)
    for n in range(10):
        for setting in (QUIET, FAR):
            jobs += _drawn_jobs(drawn, n, setting, ROOM_KINDS)
            jobs += [Job(Casting("drawn", t, 500 + n), setting, f"same {k}") for t in drawn.values() for k in (0, 1)]
    return jobs


def _drawn_jobs(drawn: dict[str, Table], n: int, setting: Setting, families: Sequence[str]) -> Iterator[Job]:
    for table in drawn.values():
        for family in families:
            labels = [x for x in table.labels if x.split(",")[0] == family]
            if n < len(labels):
                yield Job(Casting("drawn", table, 500 + n), setting, f"flaw: {labels[n]}")


def _shipped_jobs(patterns: Sequence[str], seed: int, *, more: bool) -> Iterator[Job]:
    for pattern in patterns:
        casting = Casting("shipped", load_table(pattern), seed)
        yield from (Job(casting, PICKUP, role) for role in ("same 0", "same 1"))
        if more:
            depth = [x for x in casting.table.labels if x.startswith("depth 50")]
            yield Job(casting, PICKUP, f"mass: {seed % 5}: 0.5")
            yield Job(casting, PICKUP, f"rub: {depth[seed // 2 % 2]}")


def model_jobs(drawn: dict[str, Table]) -> list[Job]:
    """Every drawn flaw once; unchanged, weighted and finished plates of the shipped tables."""
    jobs = []
    for table in drawn.values():
        flaws = [c["label"] for c in table.meta["cases"] if c["kind"] not in ("sound", "chill")]
        jobs += [Job(Casting("drawn", table, 3000 + i), PICKUP, f"flaw: {x}") for i, x in enumerate(flaws)]
    for pattern in pattern_names():
        for seed in MODEL_SEEDS:
            casting = Casting("shipped", load_table(pattern), seed)
            jobs += [Job(casting, PICKUP, r) for r in ("same 0", "same 1", "finish 0")]
            jobs += [Job(casting, PICKUP, f"mass: {seed % 5}: {m}") for m in (0.1, 0.5)]
    return jobs


Task = tuple[Casting, Setting, str]


def make(jobs: Sequence[Job], store: Store, maker: Maker, until: float, cores: int = 1) -> None:
    """All scans the jobs need, in their order, until the time is over."""
    wanted = {key_of(j.casting, j.setting, r): (j.casting, j.setting, r) for j in jobs for r in (*BASES, j.role)}
    tasks = [task for key, task in wanted.items() if store.get(key) is None]
    for task, scan in study.finished(tasks, partial(_made, maker), until, cores):
        store.add(key_of(*task), scan)
    left = sum(store.get(key) is None for key in wanted)
    print(f"{len(wanted) - left} of {len(wanted)} scans")


def _made(maker: Maker, task: Task) -> Scan:
    return scan_of(*task, Store(None), maker, SETTINGS)


def compare(job: Job, store: Store, bases: int) -> Comparison | None:
    """The comparison of one job, where all its scans are finished."""
    named = _scans(job, store, bases)
    return compare_scans(named[-1], named[:-1], SETTINGS) if named else None


def measured_of(job: Job, store: Store, bases: int) -> Measured | None:
    """What that comparison rests on."""
    named = _scans(job, store, bases)
    if not named:
        return None
    contact = job.setting.room_m is None
    own, foreign_hz = plate_alone([n.scan for n in named])
    places = len(shared_stations([n.scan for n in named]))
    unlike = changed_conditions(named[-1].conditions, [n.conditions for n in named[:-1]], places, SETTINGS)
    return measure(own[-1], own[:-1], contact, unlike, SETTINGS, foreign_hz)


def _scans(job: Job, store: Store, bases: int) -> list[ScanForComparison]:
    """The baseline scans and the later one; empty where one is missing."""
    scans = [store.get(key_of(job.casting, job.setting, role)) for role in (*BASES[:bases], job.role)]
    finished = job.role.startswith("finish")
    named = [
        _named(job, str(i), s, "finished" if finished and i == bases else "stripped")
        for i, s in enumerate(scans)
        if s is not None
    ]
    return named if len(named) == len(scans) else []


def _named(job: Job, name: str, scan: Scan, state: str) -> ScanForComparison:
    sensor = Sensor("contact" if job.setting.room_m is None else "microphone")
    conditions = ScanConditions(state=state, sensor=sensor, supports="pads", fittings=())  # type: ignore[arg-type]
    return ScanForComparison(name, f"2026-01-{int(name) + 1:02d}", conditions, scan)


def results(jobs: Sequence[Job], store: Store, bases: int) -> list[Result]:
    """One for each finished job."""
    out = []
    for job in jobs:
        found = compare(job, store, bases)
        if found is not None:
            right, paired = _pairs_right(job, store, found) if bases == 3 else (0, 0)
            weight = bool(found.explanation and found.explanation.likelier)
            name = job.setting.name
            said = bool(found.indications)
            out.append(Result(job.family, name, job.casting.table.name, said, weight, _statistic(found), right, paired))
    return out


def _statistic(found: Comparison) -> float:
    return float("nan") if found.statistic is None else found.statistic


def _pairs_right(job: Job, store: Store, found: Comparison) -> tuple[int, int]:
    """Pairs that join a true mode to itself (by its place in the list), and pairs whose two modes are both true ones."""
    first = int(np.argmax([len(store.get(key_of(job.casting, job.setting, r)).modes) for r in BASES]))  # type: ignore[union-attr]
    before, after = _numbers(job, store, BASES[first]), _numbers(job, store, job.role)
    ends = [(before.get(str(p.baseline_modes[first])), after.get(p.later_mode)) for p in found.pairs]
    known = [(a, b) for a, b in ends if a is not None and b is not None]
    return sum(a == b for a, b in known), len(known)


def _numbers(job: Job, store: Store, role: str) -> dict[str, int]:
    """Mode.id to the number of the true mode within half a linewidth; modes that two true ones may be are left out."""
    truth, scan = job.casting.truth(role), store.get(key_of(job.casting, job.setting, role))
    width = np.maximum(truth.decay_rate_per_s / (2 * np.pi), 5e-4 * truth.frequency_hz)
    out = {}
    for mode in scan.modes if scan else ():
        near = np.nonzero(np.abs(truth.frequency_hz - mode.frequency_hz) < width)[0]
        if len(near) == 1:
            out[mode.id] = int(near[0])
    return out


def main(arguments: Sequence[str] | None = None) -> None:
    """Make scans for a while, then write the tables over all there are."""
    parser = argparse.ArgumentParser(prog="python -m bench.compare", description=__doc__)
    parser.add_argument("work", type=Path)
    parser.add_argument("--tables", type=Path)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    parser.add_argument(
        "--note", default="", help="a line for the head of the table, such as which version made the scans"
    )
    study.add_rates(parser)
    given = parser.parse_args(arguments)
    given.work.mkdir(parents=True, exist_ok=True)
    drawn = read_tables(given.tables)
    until = time.time() + 60 * given.minutes
    lines = [
        study.head(part="comparison"),
        "Simulated plates, no iron. 12 stations x 2 strikes, hit scatter 6 mm, 95 % intervals (Clopper and Pearson).",
        f"Limits chosen on {' and '.join(SETTING)}; pairs of one casting share its baseline.",
        *([given.note] if given.note else []),
        "",
    ]
    for kind, jobs, maker in (
        ("sound", sound_jobs(drawn, given.rates), sound_scan),
        ("model", model_jobs(drawn), model_scan),
    ):
        store = Store(given.work / f"{kind}.jsonl")
        make(jobs, store, maker, until + 900 * (kind == "model" and given.minutes > 0), given.cores)
        found_by_bases = {bases: results(jobs, store, bases) for bases in (3, 2, 1)}
        if any(found_by_bases.values()):
            lines += tables(kind, found_by_bases)
    text = "\n".join(lines)
    (Path(__file__).parent / "results" / "compare.txt").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
