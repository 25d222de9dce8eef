"""Processor time of `tapscan check` by two revisions, side by side on the recordings of bench/timed_scans.py.

    python -m bench.processor_time REVISION [--against HEAD] [--runs 5]

Both are unpacked into a folder of their own and asked in turn, A B A B; printed is the ratio of the medians, and written into
bench/results/processor_time.txt. User and system time of the whole process, so that other work on the machine counts little.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
from pathlib import Path
from statistics import median

from bench.same_numbers import asked, commit_of, unpack
from bench.timed_scans import KINDS, ORDER, write

RESULT = Path(__file__).parent / "results" / "processor_time.txt"


def seconds(tree: Path, recording: Path, folder: Path) -> float:
    """Of one whole process."""
    before = _children()
    done = asked(tree, ["check", str(recording), "--order", ",".join(ORDER)], folder)
    if done.returncode:
        raise SystemExit(f"{recording.name}: {done.stderr.strip()}")
    return _children() - before


def _children() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def main() -> None:
    """Print and store the table."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("revision")
    ask.add_argument("--against", default="HEAD")
    ask.add_argument("--runs", type=int, default=5)
    said = ask.parse_args()
    commits = [commit_of(said.revision), commit_of(said.against)]
    lines = [f"processor time of {commits[1][:7]} over {commits[0][:7]}, medians of {said.runs}; 60 strikes, SIMULATED"]
    with tempfile.TemporaryDirectory() as work:
        trees = [Path(work) / c for c in ("a", "b")]
        for tree, commit in zip(trees, commits, strict=True):
            unpack(commit, tree)
        for name in KINDS:
            recording = write(name, Path(work))
            runs = [[seconds(t, recording, Path(work)) for t in trees] for _ in range(said.runs)]
            lines.append(f"  {name:32} {median(b for _, b in runs) / median(a for a, _ in runs):5.2f}")
            print(lines[-1], flush=True)
    RESULT.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
