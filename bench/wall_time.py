"""How long a person waits, side by side with an earlier version: the rows of wall time and memory.

    python -m bench.wall_time REVISION [--against HEAD] [--runs 5] [--rows cores,demo,one,memory,hours,recorder] [--jobs 2]

    cores      60 strikes at 20 places (bench/timed_scans.py): as many processes as --jobs, against one
    demo       the first command of README after the install
    one        `tapscan check` of a single tap, start included
    memory     60 strikes at 48 kHz with all workers, all processes together
    hours      a recording of two hours (bench/long_recording.py)
    recorder   24 places through a sound device made of software: from the last accepted tap to the reading (bench/timed_recorder.py)

Both versions are unpacked into folders of their own and run in turn; medians. The table goes into bench/results/wall_time.txt; a row that is not asked
for stays as it was. Seconds belong to the machine and the moment, so ratios are printed, and the share of what is allowed where a limit is in seconds. Run it
on a machine that has nothing else to do. SIMULATED.
"""

from __future__ import annotations

import argparse
import platform
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from statistics import median

import soundfile

from bench import study
from bench.long_recording import write as write_hours
from bench.same_numbers import commit_of, unpack
from bench.timed_process import in_turn, measured, ratio
from bench.timed_recorder import seconds_to_reading
from bench.timed_scans import KINDS, ORDER, taps, write

RESULT = Path(__file__).parent / "results" / "wall_time.txt"
ONE_TAP_S, READING_S, MEMORY_MB, HOURS = 1.5, 2.0, 500.0, 2.0  # what is allowed
CORES_AT_MOST, DEMO_AT_MOST, HOURS_AT_MOST = 1 / 1.6, 1 / 3, 1 / 4


class Bench:
    """Two versions, and a folder to work in."""

    def __init__(self, trees: list[Path], folder: Path, runs: int, jobs: int) -> None:
        self.trees, self.folder, self.runs, self.jobs = trees, folder, runs, jobs

    def cores(self) -> Iterator[str]:
        """Of the later version alone: the earlier knows no --jobs. First what the machine itself gains: 0.5 where it has two free cores, 1 where others use one."""
        words = ["check", str(write("pickup, 48 kHz", self.folder)), "--order", ",".join(ORDER), "--jobs", "1"]
        found = in_turn([partial(self._wall, 1, words), partial(self._at_once, words)], self.runs)
        yield f"the machine: {self.jobs} alike at once against one after the other  {median(b / self.jobs / a for a, b in found):.2f}"
        for name in KINDS:
            words = ["check", str(write(name, self.folder)), "--order", ",".join(ORDER), "--jobs"]
            runs = [partial(self._wall, 1, [*words, str(jobs)]) for jobs in (1, self.jobs)]
            yield f"{self.jobs} processes against 1, {name:30} {_told(in_turn(runs, self.runs), CORES_AT_MOST)}"

    def _at_once(self, words: list[str]) -> float:
        with ThreadPoolExecutor(self.jobs) as pool:
            return max(pool.map(lambda _: self._wall(1, words), range(self.jobs)))

    def demo(self) -> Iterator[str]:
        """In a new folder each time, as a new user has it."""
        found = in_turn([partial(self._demo, tree) for tree in (0, 1)], self.runs)
        yield f"first command after the install {_told(found, DEMO_AT_MOST)}"

    def _demo(self, tree: int) -> float:
        with tempfile.TemporaryDirectory() as folder:
            return self._wall(tree, ["demo", folder])

    def one(self) -> Iterator[str]:
        """The loudest of a place's taps, a pickup at 48 kHz."""
        kind = KINDS["pickup, 48 kHz"]
        path = self.folder / "one.wav"
        soundfile.write(path, taps(kind, places=1, order=ORDER)[-1].samples, kind.rate_hz, subtype="PCM_24")
        found = self._both(["check", str(path)])
        share = median(later for _, later in found) / ONE_TAP_S
        yield f"check of one tap {ratio(found)}; of {ONE_TAP_S:g} s: {share:.2f}{_reached(share <= 1)}"

    def memory(self) -> Iterator[str]:
        """All processes together, most at any time."""
        words = ["check", str(write("pickup, 48 kHz", self.folder)), "--order", ",".join(ORDER)]
        found = in_turn(
            [partial(self._memory, 0, words), partial(self._memory, 1, [*words, "--jobs", str(self.jobs)])], self.runs
        )
        share = median(later for _, later in found) / MEMORY_MB
        yield f"memory of 60 strikes at 48 kHz, {self.jobs} processes {ratio(found)}; of {MEMORY_MB:g} MB: {share:.2f}{_reached(share <= 1)}"

    def hours(self) -> Iterator[str]:
        """Time and memory."""
        path = self.folder / "S1.wav"
        write_hours(path, HOURS)
        words = ["check", str(path)]
        yield f"recording of {HOURS:g} h, time {_told(self._both(words), HOURS_AT_MOST)}"
        found = in_turn([partial(self._memory, tree, words) for tree in (0, 1)], 1)
        yield f"recording of {HOURS:g} h, memory {ratio(found)}"

    def recorder(self) -> Iterator[str]:
        """Through PulseAudio; the earlier version tells what there was to gain."""
        found = in_turn([partial(seconds_to_reading, tree, self.folder) for tree in self.trees], self.runs)
        share = median(later for _, later in found) / READING_S
        yield f"last accepted tap to the reading, 24 places {ratio(found)}; of {READING_S:g} s: {share:.2f}{_reached(share <= 1)}"

    def _wall(self, tree: int, words: list[str]) -> float:
        return measured(self.trees[tree], words, self.folder).wall_s

    def _memory(self, tree: int, words: list[str]) -> float:
        return measured(self.trees[tree], words, self.folder, memory=True).memory_mb or float("nan")

    def _both(self, words: list[str]) -> list[tuple[float, ...]]:
        return in_turn([partial(self._wall, tree, words) for tree in (0, 1)], self.runs)


ROWS: dict[str, Callable[[Bench], Iterator[str]]] = {
    name: getattr(Bench, name) for name in ("cores", "demo", "one", "memory", "hours", "recorder")
}


def _told(found: list[tuple[float, ...]], at_most: float) -> str:
    share = median(b for _, b in found) / median(a for a, _ in found)
    return f"{ratio(found)}; at most {at_most:.2f}{_reached(share <= at_most)}"


def _reached(yes: bool) -> str:
    return "" if yes else "  NOT REACHED"


def kept() -> dict[str, list[str]]:
    """Rows of the table as it is: the name in brackets, then its lines."""
    rows: dict[str, list[str]] = {}
    for line in RESULT.read_text(encoding="utf-8").splitlines() if RESULT.exists() else ():
        if line.startswith("["):
            rows[line[1 : line.index("]")]] = mine = [line]
        elif line.startswith("  "):
            mine.append(line)
    return rows


def main() -> None:
    """Print and store."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("revision")
    ask.add_argument("--against", default="HEAD")
    ask.add_argument("--runs", type=int, default=5)
    ask.add_argument("--jobs", type=int, default=2)
    ask.add_argument("--rows", default=",".join(ROWS))
    said = ask.parse_args()
    commits = [commit_of(said.revision), commit_of(said.against)]
    rows = kept()
    with tempfile.TemporaryDirectory() as work:
        trees = [Path(work) / c for c in ("a", "b")]
        for tree, commit in zip(trees, commits, strict=True):
            unpack(commit, tree)
        bench = Bench(trees, Path(work), said.runs, said.jobs)
        for name in said.rows.split(","):
            rows[name] = [
                f"[{name}] {commits[1][:7]} over {commits[0][:7]}, medians of {said.runs}; {study.head()}; {platform.system()}"
            ]
            print(rows[name][0], flush=True)
            for line in ROWS[name](bench):
                rows[name].append(f"  {line}")
                print(rows[name][-1], flush=True)
            text = "\n".join(line for key in ROWS for line in rows.get(key, ()))
            RESULT.write_text(
                f"SIMULATED; ratios of wall time (or memory), later over earlier\n{text}\n", encoding="utf-8"
            )


if __name__ == "__main__":
    main()
