"""Processor time of `tapscan check` by two revisions, side by side on the recordings of bench/timed_scans.py.

    python -m bench.processor_time REVISION [--against HEAD] [--runs 5] [--kind NAME]     NAME alone, printed and not stored
    python -m bench.processor_time HEAD --growth [--runs 3]     against the number of places, of strikes at each, and the sampling rate; four castings
    python -m bench.processor_time HEAD --instructions [ROW]    the same, or one row of it, in instructions carried out (Debian: valgrind), two castings; a quarter of an hour for each and a row

Both are unpacked into a folder of their own and asked in turn, A B A B; printed is the ratio of the medians, and written into
bench/results/processor_time.txt, beside those against other earlier versions. User and system time of the whole process, so that other work on the machine counts little. A run before them
that does not count leaves compiled Python behind, as pip does when it installs.
Growth goes into bench/results/processor_time_growth.txt: seconds, the least of several, mean of the castings, and the power p they grow with: of three sizes,
each twice the one before, the second step costs 2^p times the first, whatever the start costs. How often a fit goes round differs from recording to recording, so one
casting tells little; beside p stands from where to where it goes when each casting in turn is left out. It is counted with one process, since two that work at once slow each other.
Seconds are differences of differences on a machine whose speed may drift by a fifth; instructions do not depend on what else the machine does, and tell nothing of how long each takes.
"""

from __future__ import annotations

import argparse
import compileall
import math
import re
import subprocess
import tempfile
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from statistics import mean, median
from typing import Any

from bench.same_numbers import commit_of, unpack
from bench.timed_process import children_s, command, in_turn, measured, surroundings
from bench.timed_scans import KINDS, ORDER, Kind, write

RESULTS = Path(__file__).parent / "results"
RATE_HZ = 16_000
PLACES, TAPS, RATES_HZ = (8, 15, 30, 60), (1, 2, 4, 8), (8_000, 12_000, 24_000, 48_000)  # the last three double
CASTINGS = (1, 2, 3, 4)
ALONE = ("--jobs", "1")  # two that work at once slow each other, and the more of a scan is shared the more of it
COUNTED = CASTINGS[:2]  # in instructions, which do not scatter
LINEAR = 1.05  # told with one decimal
SECONDS, INSTRUCTIONS = "processor time", "instructions (thousand millions, one process)"


def seconds(tree: Path, recording: Path, folder: Path, order: Sequence[str] = ORDER, more: Sequence[str] = ()) -> float:
    """Of one whole command. more : words of it."""
    before = children_s()
    measured(tree, ["check", str(recording), "--order", ",".join(order), *more], folder)
    return children_s() - before


def instructions(tree: Path, recording: Path, folder: Path, order: Sequence[str]) -> float:
    """In thousand millions, of one whole process that shares nothing, as valgrind counts them. Ends the bench where it fails."""
    counted = folder / "counted"
    words = command(["check", str(recording), "--order", ",".join(order), *ALONE])
    asked = ["valgrind", "--tool=cachegrind", "--cache-sim=no", f"--cachegrind-out-file={counted}", *words]
    done = subprocess.run(asked, cwd=folder, env=surroundings(tree), capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{' '.join(asked)}: {done.stderr.strip()}")
    return int(re.findall(r"(?m)^summary: (\d+)", counted.read_text(encoding="utf-8"))[0]) / 1e9


def _order(taps: int) -> tuple[str, ...]:
    return ("soft", *("hard",) * (taps - 1))


SIZES: dict[str, list[tuple[int, Kind, int, tuple[str, ...]]]] = {
    "places": [(n, Kind(RATE_HZ), n, ORDER) for n in PLACES],
    "taps a place": [(n, Kind(RATE_HZ), 20, _order(n)) for n in TAPS],
    "sampling rate, Hz": [(n, Kind(n), 20, ORDER) for n in RATES_HZ],
}  # each varies one number, the others are 20 places, 3 taps at each, 16 kHz


def growth(tree: Path, folder: Path, runs: int) -> list[str]:
    """Lines of three tables, in seconds. Sizes are asked in turn, so that a machine whose speed drifts is fair to all."""
    lines = []
    for name, sizes in SIZES.items():
        castings = [_least_seconds(tree, folder, runs, sizes, casting) for casting in CASTINGS]
        lines.append(_told(name, [row[0] for row in sizes], castings, "s"))
        print(lines[-1], flush=True)
    return lines


def growth_counted(tree: Path, folder: Path, names: Sequence[str]) -> list[str]:
    """The same in instructions, of the three sizes that tell the power."""
    lines = []
    for name in names:
        sizes = SIZES[name][-3:]
        castings = [_instructions(tree, folder, sizes, casting) for casting in COUNTED]
        lines.append(_told(name, [row[0] for row in sizes], castings, "G"))
        print(lines[-1], flush=True)
    return lines


def _written(row: tuple[int, Kind, int, tuple[str, ...]], casting: int, folder: Path) -> Path:
    return write(f"size {row[0]}", folder, *row[1:], casting=casting)


def _least_seconds(tree: Path, folder: Path, runs: int, sizes: Sequence[Any], casting: int) -> list[float]:
    paths = [_written(row, casting, folder) for row in sizes]
    each = [partial(seconds, tree, path, folder, row[-1], ALONE) for path, row in zip(paths, sizes, strict=True)]
    spent = [min(found) for found in zip(*in_turn(each, runs), strict=True)]
    for path in paths:
        path.unlink()
    return spent


def _instructions(tree: Path, folder: Path, sizes: Sequence[Any], casting: int) -> list[float]:
    spent = []
    for row in sizes:
        path = _written(row, casting, folder)
        spent.append(instructions(tree, path, folder, row[-1]))
        print(f"  casting {casting}, {row[0]}: {spent[-1]:.2f} G", flush=True)
        path.unlink()
    return spent


def _told(name: str, sizes: Sequence[int], castings: Sequence[Sequence[float]], unit: str) -> str:
    spent = _means(castings)
    without = [_power(_means([*castings[:i], *castings[i + 1 :]])) for i in range(len(castings))]
    told = "  ".join(f"{size}: {s:.2f} {unit}" for size, s in zip(sizes, spent, strict=True))
    power, least, most = _power(spent), min(without), max(without)
    verdict = "at most linear" if power <= LINEAR else "MORE THAN LINEAR"
    return f"{name:18} {told}   grows with the power {power:.2f} ({least:.2f} to {most:.2f}): {verdict}"


def _means(castings: Sequence[Sequence[float]]) -> list[float]:
    return [mean(found) for found in zip(*castings, strict=True)]


def _power(spent: Sequence[float]) -> float:
    return math.log2((spent[-1] - spent[-2]) / (spent[-2] - spent[-3]))


def main() -> None:
    """Print and store the table."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("revision")
    ask.add_argument("--against", default="HEAD")
    ask.add_argument("--runs", type=int, default=5)
    ask.add_argument("--kind", choices=KINDS)
    ask.add_argument("--growth", action="store_true")
    ask.add_argument("--instructions", nargs="?", const="", metavar="ROW", choices=["", *SIZES])
    said = ask.parse_args()
    with tempfile.TemporaryDirectory() as work:
        if said.growth or said.instructions is not None:
            _store_growth(said.revision, Path(work), said.runs if said.growth else None, said.instructions)
        else:
            kinds = [said.kind] if said.kind else list(KINDS)
            lines = compared([commit_of(said.revision), commit_of(said.against)], Path(work), said.runs, kinds)
            if said.kind:
                return
            table = RESULTS / "processor_time.txt"
            table.write_text(beside(table.read_text(encoding="utf-8"), lines), encoding="utf-8")


def _store_growth(revision: str, work: Path, runs: int | None, row: str | None) -> None:
    """Seconds and instructions stand in one file, and each leaves the other as it is. runs : None for instructions."""
    commit = commit_of(revision)
    unpack(commit, work / "tree")
    compileall.compile_dir(work / "tree", quiet=1)  # or the first count would hold it
    what = INSTRUCTIONS if runs is None else SECONDS
    least = "" if runs is None else f", least of {runs} each"
    castings = COUNTED if runs is None else CASTINGS
    head = f"{what} of {commit[:7]}, mean of {len(castings)} castings{least}, of one whole process; SIMULATED"
    lines = (
        growth_counted(work / "tree", work, [row] if row else list(SIZES))
        if runs is None
        else growth(work / "tree", work, runs)
    )
    table = RESULTS / "processor_time_growth.txt"
    others = [block for block in _blocks(table.read_text(encoding="utf-8")) if not block.startswith(what)]
    table.write_text("\n".join([*others, head, *lines]) + "\n", encoding="utf-8")


def _blocks(table: str) -> list[str]:
    return [
        block.strip()
        for block in re.split(rf"(?m)^(?={re.escape(SECONDS)}|{re.escape(INSTRUCTIONS)})", table)
        if block.strip()
    ]


def beside(table: str, lines: Sequence[str]) -> str:
    """The table with these lines; those against other earlier versions stay."""
    blocks = [block.strip() for block in re.split(r"(?m)^(?=processor time of)", table) if block.strip()]
    against = re.compile(r" over (\w+),")
    new = [against.findall(lines[0])]
    return "\n".join([*(b for b in blocks if against.findall(b) not in new), *lines]) + "\n"


def compared(commits: Sequence[str], work: Path, runs: int, kinds: Sequence[str]) -> list[str]:
    """Lines of the table of ratios."""
    lines = [f"processor time of {commits[1][:7]} over {commits[0][:7]}, medians of {runs}; 60 strikes, SIMULATED"]
    trees = [work / c for c in ("a", "b")]
    for tree, commit in zip(trees, commits, strict=True):
        unpack(commit, tree)
    for name in kinds:
        recording = write(name, work)
        spent = [[seconds(t, recording, work) for t in trees] for _ in range(runs + 1)][1:]
        lines.append(f"  {name:32} {median(b for _, b in spent) / median(a for a, _ in spent):5.2f}")
        print(lines[-1], flush=True)
    return lines


if __name__ == "__main__":
    main()
