"""Where the processor time of a scan goes: `tapscan check` of 60 strikes under Python's own profiler.

    python -m bench.profile      writes bench/results/profile.txt

For each recording of bench/timed_scans.py: the seconds within each step of the analysis (steps lie within each other), and the
functions that take the most by themselves. The profiler itself slows small functions down: shares count, not seconds.
"""

from __future__ import annotations

import cProfile
import pstats
import tempfile
import time
from pathlib import Path

from bench import study
from bench.timed_scans import KINDS, ORDER, write
from tapscan.workflow.check import Request, check

MOST = 12


def profiled(path: Path) -> pstats.Stats:
    """One whole check in this process."""
    profiler = cProfile.Profile(time.process_time)  # what else the machine does is not counted
    request = Request(order=ORDER, per_station=len(ORDER))
    profiler.runcall(check, [str(path)], request)
    return pstats.Stats(profiler)


def table(name: str, found: pstats.Stats) -> list[str]:
    """Steps of ours by the time within them, and what takes the most by itself."""
    rows = [(place, calls, own, within) for place, (_, calls, own, within, _) in found.stats.items()]  # type: ignore[attr-defined]
    total = sum(own for _, _, own, _ in rows)
    ours = [r for r in rows if "/tapscan/" in r[0][0].replace("\\", "/") and r[3] > 0.02 * total]
    lines = [f"{name}: {total:.1f} s under the profiler", "  within %  by itself %    calls"]
    lines += [_line(*r, total) for r in sorted(ours, key=lambda r: -r[3])]
    lines.append("  most by itself:")
    return lines + [_line(*r, total) for r in sorted(rows, key=lambda r: -r[2])[:MOST]] + [""]


def _line(place: tuple[str, int, str], calls: int, own: float, within: float, total: float) -> str:
    file, _, function = place
    name = f"{Path(file).stem}.{function}" if file != "~" else function
    return f"  {100 * within / total:8.1f}  {100 * own / total:11.1f}  {calls:7d}  {name}"


def main() -> None:
    """Print and store the tables."""
    lines = [f"{study.head()}; SIMULATED recordings; share of processor time", ""]
    with tempfile.TemporaryDirectory() as folder:
        for name in KINDS:
            lines += table(name, profiled(write(name, Path(folder))))
            print("\n".join(lines[-40:]), flush=True)
    (Path(__file__).parent / "results" / "profile.txt").write_text("\n".join(lines), encoding="utf-8")


if __name__ == "__main__":
    main()
