"""How much faster than it plays a recording is screened.

    python bench/speed.py        writes bench/results/speed.txt

A scan of 60 strikes of 3 s (20 stations, simulated plate, 48 kHz, 50 dB) in one recording; whole `tapscan check`
process, best of three, and the largest memory it took. The same beside harminv is issue C's bench.
"""

import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile

import tapscan
from tapscan.demo.plates import draw_iron, load_table, plate_modes
from tapscan.demo.taps import one_recording, scan, sensor_names

RATE = 48_000


def recording(path: Path, strikes: int) -> float:
    """Write `strikes` taps of 3 s; returns the length in s."""
    rng = np.random.default_rng(1)
    table = load_table("parlour-grand")
    modes = plate_modes(table, "sound", draw_iron(table, rng))
    stations = table.station_names[: strikes // 3]
    taps = scan(modes, sensor_names(modes)[0], RATE, rng, ("soft", "hard", "hard"), stations, 3.0, 50.0)
    samples, _ = one_recording(taps)
    soundfile.write(path, samples, RATE, subtype="PCM_24")
    return len(samples) / RATE


def seconds(path: Path) -> float:
    """Best of three runs of the whole command."""
    command = [sys.executable, "-m", "tapscan", "check", str(path), "--per-station", "3"]
    best = np.inf
    for _ in range(3):
        start = time.perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        best = min(best, time.perf_counter() - start)
    return float(best)


def main() -> None:
    """Print and store the table."""
    lines = [
        f"tapscan {tapscan.__version__}, Python {platform.python_version()}, {os.cpu_count()} cores, {time.strftime('%Y-%m-%d')}"
    ]
    lines.append("strikes  plays s  takes s  times faster than it plays")
    with tempfile.TemporaryDirectory() as folder:
        for strikes in (15, 30, 60):
            path = Path(folder) / f"taps-{strikes}.wav"
            plays = recording(path, strikes)
            takes = seconds(path)
            lines.append(f"{strikes:7d}  {plays:7.1f}  {takes:7.1f}  {plays / takes:.1f}")
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    lines.append(f"largest memory of a run: {peak:.0f} MB")
    text = "\n".join(lines) + "\n"
    (Path(__file__).parent / "results" / "speed.txt").write_text(text, encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
