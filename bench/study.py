"""What every study of bench needs: seeds, a pool that takes up where it stopped, intervals, and the head of its table.

seed_of(study, unit)                      for np.random.default_rng; other units and other studies draw otherwise
parser_of(module, description, luck)      the options that most have
make(units, job, path_of, until, cores)   each missing unit worked out and written once, in worker processes
rate_of(study, unit, usual_hz, rates)     the sampling rate of one casting's scans
finished(units, job, until, cores)        the same without files: (unit, result) as they come, in order
read(path)                                what `make` wrote
clopper_pearson(k, n)                     95 % interval of a rate
over_castings(hits, tries, rng)           95 % interval of a rate when castings are drawn again, not pairs
head(seeds, part)                         what the figures were made with
kept_head(work, seeds, part)              the same, of the first unit of a WORK

Workers are spawned, not forked: a job is a function of a module, and its units can be pickled. The units go to each worker once.
"""

from __future__ import annotations

import argparse
import gzip
import hashlib
import json
import multiprocessing
import os
import platform
import subprocess
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cache, partial
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from threadpoolctl import ThreadpoolController

import tapscan
from tapscan.report.error_rates import Table, shipped_limits

Unit = TypeVar("Unit")
Result = TypeVar("Result")
RESAMPLES = 2000
HIGH_RATES = (
    (44_100, 1 / 6),
    (48_000, 1 / 6),
    (96_000, 1 / 20),
)  # and their shares; a recorder's usual ones, and one that few use
RATES = ("drawn", "old")
_here: dict[str, Any] = {}  # of a worker: its units and the job


@cache
def threads() -> ThreadpoolController:
    """`threads().limit(limits=1)` for small matrices: more threads only wait for each other. To look for the libraries takes a twentieth of a scan's time."""
    return ThreadpoolController()


def seed_of(study: str, unit: str) -> int:
    """128 bits from both names."""
    return int.from_bytes(hashlib.sha256(f"{study}\0{unit}".encode()).digest()[:16], "big")


def parser_of(module: str, description: str | None, luck: str) -> argparse.ArgumentParser:
    """The options of a study that counts on plates from `--tables`, some of which only set its limits."""
    parser = argparse.ArgumentParser(prog=f"python -m {module}", description=description)
    parser.add_argument("work", type=Path)
    parser.add_argument("--tables", type=Path, required=True)
    parser.add_argument("--luck", default=luck)
    parser.add_argument("--setting", action="store_true", help="on the patterns that limits were set with")
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    return parser


def add_rates(parser: argparse.ArgumentParser) -> None:
    """The option."""
    parser.add_argument(
        "--rates",
        choices=RATES,
        default=RATES[0],
        help="old: every scan at the low rate, as in tables before December 2026",
    )


def rate_of(study: str, unit: str, usual_hz: int, rates: str) -> int:
    """Drawn apart from all else, so that nothing else of the unit changes with it."""
    if rates == "old":
        return usual_hz
    drawn = np.random.default_rng(seed_of(f"{study}, sampling rate", unit)).random()
    for rate, upto in zip((r for r, _ in HIGH_RATES), np.cumsum([s for _, s in HIGH_RATES]), strict=True):
        if drawn < upto:
            return rate
    return usual_hz


def finished(
    units: Sequence[Unit], job: Callable[[Unit], Result], until: float, cores: int
) -> Iterator[tuple[Unit, Result]]:
    """In the units' order. Those not begun when the time (time.time) is over are left out; an error in a job ends the study. One core, or one unit: in this process."""
    if min(cores, len(units)) <= 1:
        yield from ((unit, result) for unit in units for done, result in [_done(unit, job, until)] if done)
        return
    context = multiprocessing.get_context("spawn")
    with context.Pool(min(cores, len(units)), _begin, (list(units), job, until)) as pool:
        for unit, (done, result) in zip(units, pool.imap(_work, range(len(units))), strict=True):
            if done:
                yield unit, result


def _begin(units: list[Any], job: Callable[[Any], Any], until: float) -> None:
    _here.update(units=units, job=job, until=until)


def _work(number: int) -> tuple[bool, Any]:
    return _done(_here["units"][number], _here["job"], _here["until"])


def _done(unit: Any, job: Callable[[Any], Any], until: float) -> tuple[bool, Any]:
    if time.time() > until:
        return False, None
    with threads().limit(limits=1):
        return True, job(unit)


def make(
    units: Iterable[Unit], job: Callable[[Unit], Any], path_of: Callable[[Unit], Path], until: float, cores: int
) -> int:
    """How many were made. `job` gives what JSON can hold; a file is whole or not there, and what is there stays."""
    missing = list({path: unit for unit in units if not (path := path_of(unit)).exists()}.values())
    return sum(1 for _ in finished(missing, partial(_written, job, path_of), until, cores))


def made(
    work: Path, units: Sequence[Unit], job: Callable[[Unit], Any], minutes: float, cores: int
) -> list[tuple[Unit, Any]]:
    """Of the units that are finished, each with its result; kept in `work` by the unit's name, and made where it is not there."""
    work.mkdir(parents=True, exist_ok=True)
    path_of = partial(named_in, work)
    make(units, job, path_of, time.time() + 60 * minutes, cores)
    return [(u, found) for u in units if (found := read(path_of(u))) is not None]


def named_in(work: Path, unit: Any) -> Path:
    """By `unit.name`."""
    return work / f"{unit.name}.json.gz"


def parser_of_made(module: str, description: str | None) -> argparse.ArgumentParser:
    """The options of a study that makes its own units, and writes its table unless it is run dry."""
    parser = argparse.ArgumentParser(prog=f"python -m {module}", description=description)
    parser.add_argument("work", type=Path)
    parser.add_argument("--minutes", type=float, default=8.0)
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--dry", action="store_true", help="print only")
    return parser


def told(text: str, path: Path, dry: bool) -> None:
    """Printed, and stored unless dry."""
    print(text)
    if not dry:
        path.write_text(text + "\n", encoding="utf-8")


def _written(job: Callable[[Unit], Any], path_of: Callable[[Unit], Path], unit: Unit) -> None:
    path = path_of(unit)
    half = path.with_suffix(f".{os.getpid()}.half")
    half.write_bytes(gzip.compress(json.dumps(job(unit)).encode(), 4))
    half.replace(path)


def read(path: Path) -> Any:
    """What was written of one unit; None where it is not finished."""
    return json.loads(gzip.decompress(path.read_bytes())) if path.exists() else None


def clopper_pearson(k: int, n: int) -> tuple[float, float]:
    """95 % interval of k in n (Clopper and Pearson 1934); 0 to 1 where nothing was tried."""
    if not n:
        return 0.0, 1.0
    from scipy.stats import binomtest  # here: every process of a study reads this file

    found = binomtest(k, n).proportion_ci(0.95, method="exact")
    return float(found.low), float(found.high)


def over_castings(hits: Sequence[int], tries: Sequence[int], rng: np.random.Generator) -> tuple[float, float] | None:
    """95 % percentile interval of sum(hits) / sum(tries), (castings,) each: pairs of one casting share its baseline. None for one casting."""
    if len(hits) < 2:
        return None
    from scipy.stats import bootstrap

    found = bootstrap(
        (np.asarray(hits), np.asarray(tries)),
        lambda h, t, axis: np.sum(h, axis=axis) / np.sum(t, axis=axis),
        paired=True,
        vectorized=True,
        n_resamples=RESAMPLES,
        method="percentile",
        random_state=rng,
    )
    return float(found.confidence_interval.low), float(found.confidence_interval.high)


def head(seeds: str = "", part: Table | None = None) -> str:
    """One line: version and commit, machine, date, seeds, and the hash of the limits that count for a part of reach.json."""
    told = [
        f"tapscan {tapscan.__version__} at {commit()}",
        f"Python {platform.python_version()}",
        f"{platform.machine()}, {os.cpu_count()} cores",
        time.strftime("%Y-%m-%d"),
        *([f"seeds {seeds}"] if seeds else []),
        *([f"limits {shipped_limits(part)}"] if part else []),
    ]
    return ", ".join(told)


def kept_head(work: Path, seeds: str, part: Table | None = None) -> str:
    """What the first unit of this WORK was made with; asked for before it is made."""
    kept = work / "head.txt"
    if not kept.exists():
        begun = any(work.glob("*.json.gz"))
        kept.write_text("a version that nobody noted" if begun else head(seeds, part), encoding="utf-8")
    return kept.read_text(encoding="utf-8")


def commit() -> str:
    """Of the working tree, with "+" where it was edited; "no commit" outside a repository."""
    root = Path(__file__).parent
    try:
        done = subprocess.run(
            ["git", "describe", "--always", "--dirty=+", "--exclude=*"],
            cwd=root, capture_output=True, text=True, check=True,
        )  # fmt: skip
    except (FileNotFoundError, subprocess.CalledProcessError):
        return "no commit"
    return done.stdout.strip()
