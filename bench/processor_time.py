"""Processor time of `tapscan check` by two revisions, side by side on the recordings of bench/timed_scans.py.

    python -m bench.processor_time REVISION [--against HEAD] [--runs 5] [--kind NAME]     NAME alone, printed and not stored
    python -m bench.processor_time HEAD --growth [--runs 3]     against the number of places, of strikes at each, and the sampling rate; four castings

Both are unpacked into a folder of their own and asked in turn, A B A B; printed is the ratio of the medians, and written into
bench/results/processor_time.txt, beside those against other earlier versions. User and system time of the whole process, so that other work on the machine counts little. A run before them
that does not count leaves compiled Python behind, as pip does when it installs.
Growth goes into bench/results/processor_time_growth.txt: seconds, the least of several, mean of the castings, and the power p they grow with: of three sizes,
each twice the one before, the second step costs 2^p times the first, whatever the start costs. How often a fit goes round differs from recording to recording, so one
casting tells little; beside p stands from where to where it goes when each casting in turn is left out.
"""

from __future__ import annotations

import argparse
import math
import re
import tempfile
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from statistics import mean, median

from bench.same_numbers import commit_of, unpack
from bench.timed_process import children_s, in_turn, measured
from bench.timed_scans import KINDS, ORDER, Kind, write

RESULTS = Path(__file__).parent / "results"
RATE_HZ = 16_000
PLACES, TAPS, RATES_HZ = (8, 15, 30, 60), (1, 2, 4, 8), (8_000, 12_000, 24_000, 48_000)  # the last three double
CASTINGS = (1, 2, 3, 4)
LINEAR = 1.05  # told with one decimal


def seconds(tree: Path, recording: Path, folder: Path, order: Sequence[str] = ORDER) -> float:
    """Of one whole process."""
    before = children_s()
    measured(tree, ["check", str(recording), "--order", ",".join(order)], folder)
    return children_s() - before


def _order(taps: int) -> tuple[str, ...]:
    return ("soft", *("hard",) * (taps - 1))


def growth(tree: Path, folder: Path, runs: int) -> list[str]:
    """Lines of three tables: each varies one number, the others are 20 places, 3 taps at each, 16 kHz. Sizes are asked in turn, so that a machine whose speed drifts is fair to all."""
    rows = {
        "places": [(n, Kind(RATE_HZ), n, ORDER) for n in PLACES],
        "taps a place": [(n, Kind(RATE_HZ), 20, _order(n)) for n in TAPS],
        "sampling rate, Hz": [(n, Kind(n), 20, ORDER) for n in RATES_HZ],
    }
    lines = []
    for name, asked_for in rows.items():
        castings = [_of_casting(casting, asked_for, tree, folder, runs) for casting in CASTINGS]
        lines.append(_growth_line(name, [row[0] for row in asked_for], castings))
        print(lines[-1], flush=True)
    return lines


def _of_casting(
    casting: int, asked_for: Sequence[tuple[int, Kind, int, tuple[str, ...]]], tree: Path, folder: Path, runs: int
) -> list[float]:
    """The least seconds of each size."""
    paths = [write(f"size {row[0]}", folder, *row[1:], casting=casting) for row in asked_for]
    each = [partial(seconds, tree, path, folder, row[-1]) for path, row in zip(paths, asked_for, strict=True)]
    spent = [min(found) for found in zip(*in_turn(each, runs), strict=True)]
    for path in paths:
        path.unlink()
    return spent


def _growth_line(name: str, sizes: Sequence[int], castings: Sequence[Sequence[float]]) -> str:
    spent = _means(castings)
    without = [_power(_means([*castings[:i], *castings[i + 1 :]])) for i in range(len(castings))]
    told = "  ".join(f"{size}: {s:.2f} s" for size, s in zip(sizes, spent, strict=True))
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
    said = ask.parse_args()
    with tempfile.TemporaryDirectory() as work:
        if said.growth:
            commit = commit_of(said.revision)
            unpack(commit, Path(work) / "tree")
            head = f"processor time of {commit[:7]}, mean of {len(CASTINGS)} castings, least of {said.runs} each, of whole processes; SIMULATED"
            lines = [head, *growth(Path(work) / "tree", Path(work), said.runs)]
            (RESULTS / "processor_time_growth.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
        else:
            kinds = [said.kind] if said.kind else list(KINDS)
            lines = compared([commit_of(said.revision), commit_of(said.against)], Path(work), said.runs, kinds)
            if said.kind:
                return
            table = RESULTS / "processor_time.txt"
            table.write_text(beside(table.read_text(encoding="utf-8"), lines), encoding="utf-8")


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
