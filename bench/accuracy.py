"""How exact the modes are: against the Cramer-Rao bound, against simulated plates, beside three reference estimators.

    python -m bench.accuracy [--work FOLDER] [--cores N] [--only single,pairs,kt,plates,repeated,no_taps,references] [--share 0.1]
        [--cells "50 dB,room 0.4 m"] [--result FILE]

Runs in parts; finished parts are kept in FOLDER and not run again, so it may be stopped and started; after a change of the program take another. Writes
bench/results/accuracy.txt. `--share` runs that share of the runs (the table says how many were run). The whole takes some
hours of one core. Signals: bench/accuracy_modes.py and bench/accuracy_plates.py, references: bench/references.py.
All signals are computed; the plates are simulated. Nothing here was measured on iron.
"""

from __future__ import annotations

import argparse
import math
import os
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from bench import accuracy_parts as parts
from bench import study
from bench.accuracy_table import table

RESULT = Path(__file__).parent / "results" / "accuracy.txt"


def jobs(only: set[str], share: float, cells: set[str]) -> list[tuple[str, str, tuple[Any, ...]]]:
    """Name of the part, kind of the part, arguments; parts are small, so that little is lost by stopping."""
    found = []
    for kind, rows, runs, block in parts.PLAN:
        if only and kind not in only:
            continue
        blocks = max(1, round(runs * share / block))
        wanted = [cell for cell in rows if not cells or cells & set(map(str, cell))]
        found += [(f"{kind} {cell} {k}", kind, (*cell, k, block)) for k in range(blocks) for cell in wanted]
    return found


def run(job: tuple[str, str, tuple[Any, ...]]) -> dict[str, Any]:
    """One part, in a process of its own."""
    name, kind, arguments = job
    function: Callable[..., dict[str, Any]] = getattr(parts, kind)
    return {"part": name, "kind": kind, "cell": list(arguments[:-2]), **function(*arguments)}


def _kept(work: Path, job: tuple[str, str, tuple[Any, ...]]) -> Path:
    return work / f"{job[0]}.json.gz"


def main() -> None:
    """Run what is missing, then print and store the table."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--work", type=Path, default=Path("accuracy-parts"))
    options.add_argument("--cores", type=int, default=os.cpu_count())
    options.add_argument("--only", default="")
    options.add_argument("--share", type=float, default=1.0)
    options.add_argument("--cells", default="", help="rows of a table, by their names")
    options.add_argument("--result", type=Path, default=RESULT)
    given = options.parse_args()
    given.work.mkdir(parents=True, exist_ok=True)
    only, cells = (set(filter(None, words.split(","))) for words in (given.only, given.cells))
    study.make(jobs(only, given.share, cells), run, partial(_kept, given.work), math.inf, given.cores)
    every = (
        study.read(_kept(given.work, job)) for job in jobs(set(), max(1.0, given.share), set())
    )  # in the plan's order
    text = table([part for part in every if part is not None], study.head())
    given.result.write_text(text, encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
