"""A whole process from outside, as bench/wall_time.py needs it: wall time, and the memory of it and of all that it starts.

    measured(tree, words, folder)      Measured: one `tapscan` command of the version in `tree`
    in_turn(commands, runs)            A B A B ...: what each measured, so that a machine whose speed drifts is fair to both
    children_s()                       processor time of all processes that this one started and that have ended
    ratio(found)                       of the medians, B over A, with the least and the most pair by pair

Memory is the sum over all processes of the session of what each holds, pages that several share counted by shares (PSS, Linux); elsewhere None.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from statistics import median

from msgspec import Struct

SAMPLE_S = 0.05


class Measured(Struct, frozen=True):
    """One run."""

    wall_s: float
    memory_mb: float | None


def surroundings(tree: Path) -> dict[str, str]:
    """In which the version in `tree` runs, whatever is installed."""
    return {**os.environ, "PYTHONPATH": str(tree), "OPENBLAS_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": "0"}


def command(words: Sequence[str]) -> list[str]:
    """Of the interpreter that runs this."""
    return [sys.executable, "-m", "tapscan", *words]


def measured(tree: Path, words: Sequence[str], folder: Path, *, memory: bool = False) -> Measured:
    """Ends the bench where the command fails."""
    start = time.perf_counter()
    quiet = subprocess.DEVNULL
    begun = subprocess.Popen(
        command(words), cwd=folder, env=surroundings(tree), stdout=quiet, stderr=subprocess.PIPE, start_new_session=True
    )
    most: list[float] = []
    watcher = threading.Thread(target=_watch, args=(begun, most), daemon=True)
    if memory:
        watcher.start()
    _, err = begun.communicate()
    wall = time.perf_counter() - start
    if begun.returncode:
        raise SystemExit(f"tapscan {' '.join(words)}: {err.decode().strip()}")
    if memory:
        watcher.join()
    return Measured(wall, max(most, default=None))


def children_s() -> float:
    """User and system time, s (Unix)."""
    import resource

    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _watch(begun: subprocess.Popen[bytes], most: list[float]) -> None:
    while begun.poll() is None:
        if held := _session_mb(begun.pid):
            most.append(held)
        time.sleep(SAMPLE_S)


def _session_mb(session: int) -> float:
    total = 0.0
    for entry in Path("/proc").glob("[0-9]*"):
        with suppress(OSError, ValueError, IndexError):  # processes come and go
            if int((entry / "stat").read_text().rpartition(")")[2].split()[3]) != session:
                continue
            lines = (entry / "smaps_rollup").read_text().splitlines()
            total += next(int(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1024
    return total


def in_turn(commands: Sequence[Callable[[], float]], runs: int) -> list[tuple[float, ...]]:
    """(runs) one figure of each command a turn; a first turn that fills the caches does not count."""
    return [tuple(one() for one in commands) for _ in range(runs + 1)][1:]


def ratio(found: Sequence[tuple[float, ...]]) -> str:
    """Second over first."""
    first, second = zip(*found, strict=True)
    pairs = [b / a for a, b in found]
    return f"{median(second) / median(first):5.2f}  ({min(pairs):.2f} to {max(pairs):.2f} pair by pair)"
