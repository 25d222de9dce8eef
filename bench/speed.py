"""How fast a scan is screened: against its own playing time, and against harminv on the same bands of the same strikes.

    python -m bench.speed        writes bench/results/speed.txt

Scans of 15, 30 and 60 strikes of 3 s (simulated plate, 48 kHz, 50 dB), one recording each: the whole `tapscan check`
process, best of three. Then harminv (Debian) with its default density on each strike cut into the bands that tapscan plans; only its
own processor time counts, none of the cutting or printing. Its modes are merged over strikes as tapscan merges
those of stations, and both lists are held against the plate's true modes, 60 to 1200 Hz, within a linewidth.
Ratios are of processor time, so other work on the machine moves them little.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import soundfile

from bench import study
from bench.accuracy_plates import Scored, scored
from bench.references import by_harminv
from bench.simulate.take import one_recording
from bench.timed_process import children_s
from tapscan.demo.plates import PlateModes, draw_iron, load_table, plate_modes
from tapscan.demo.taps import Tap, scan, sensor_names
from tapscan.records import FloatArray, Mode, Pole, Tone
from tapscan.settings import Settings
from tapscan.signal.fit.subbands import plan_bands
from tapscan.signal.plate.merging import HeardPole, merge
from tapscan.signal.plate.station_fit import SKIP_S

RATE = 48_000
RUNS = 3


def plate() -> PlateModes:
    """The plate of the bench."""
    table = load_table("parlour-grand")
    return plate_modes(table, "sound", draw_iron(table, np.random.default_rng(1)))


def recording(path: Path, modes: PlateModes, strikes: int) -> list[Tap]:
    """Write `strikes` taps of 3 s into one file."""
    stations = modes.table.station_names[: strikes // 3]
    rng = np.random.default_rng(2)
    taps = scan(modes, sensor_names(modes)[0], RATE, rng, ("soft", "hard", "hard"), stations, 3.0, 50.0)
    samples, _ = one_recording(taps)
    soundfile.write(path, samples, RATE, subtype="PCM_24")
    return taps


def cpu_seconds(path: Path, report: Path) -> tuple[float, float]:
    """Processor and wall time of the whole command, the least of three runs each."""
    command = [sys.executable, "-m", "tapscan", "check", str(path), "--per-station", "3", "--json", str(report)]
    cpu, wall = [], []
    for _ in range(RUNS):
        before, start = children_s(), time.perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        cpu.append(children_s() - before)
        wall.append(time.perf_counter() - start)
    return min(cpu), min(wall)


def of_tapscan(report: Path, truth: PlateModes) -> Scored:
    """The command's own JSON against the truth."""
    modes = json.loads(report.read_text())["modes"]
    return scored(tuple(_mode(m["frequency_hz"], m["loss_factor"]) for m in modes), truth)


def of_harminv(taps: list[Tap], truth: PlateModes) -> tuple[float, Scored]:
    """Processor time of harminv over all strikes and bands, and its merged modes against the truth."""
    settings, before = Settings(), children_s()
    bands = plan_bands(settings.fit.lowest_hz, settings.fit.highest_hz)

    def one(number: int) -> list[HeardPole]:
        samples = taps[number].samples[round((taps[number].onset_s + SKIP_S) * RATE) :]
        return [_heard(f"{number}", f, d) for band in bands for f, d in by_harminv(samples, RATE, band)]

    with ThreadPoolExecutor(os.cpu_count()) as pool:  # one for each core; their processor time is added up
        heard = [h for some in pool.map(one, range(len(taps))) for h in some]
    used = children_s() - before
    modes = merge(heard, len(taps), settings)
    return used, scored(tuple(_mode(m.frequency_hz, m.loss_factor) for m in modes), truth)


def _heard(strike: str, f: float, d: float) -> HeardPole:
    pole = Pole(f, 1e-4 * f, d, 0.02 * d, (1 + 0j,), 20.0)
    return HeardPole(strike, pole, Tone(None, None, None), 0.0, 0.0, 0.0, 3.0)


def _mode(f: float, loss: float | None) -> Mode:
    nothing = (None,) * 9
    return Mode("M", f, None, None, None, None, None, loss, *nothing[:4], 0, 0, None, None, "plate", ())


def line(name: str, score: Scored) -> str:
    """One list of modes against the truth."""
    ppm, loss = np.array(score.frequency_ppm), np.array(score.loss_percent)
    return (
        f"{name:8s} recall {score.recall:.3f}  precision {score.precision:.3f}  frequency ppm, median / 90 %: {_two(ppm)}"
        f"  loss factor %: {_two(loss)}"
    )


def _two(x: FloatArray) -> str:
    return f"{np.median(x):.2f} / {np.quantile(x, 0.9):.1f}"


def main() -> None:
    """Print and store the table."""
    truth = plate()
    lines = [
        study.head(),
        "strikes  plays s  processor s  wall s  times faster than it plays (wall)",
    ]
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "scan.json"
        for strikes in (15, 30, 60):
            path = Path(folder) / f"taps-{strikes}.wav"
            taps = recording(path, truth, strikes)
            cpu, wall = cpu_seconds(path, report)
            plays = soundfile.info(path).duration
            lines.append(f"{strikes:7d}  {plays:7.1f}  {cpu:11.1f}  {wall:6.1f}  {plays / wall:.1f}")
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        lines.append(
            f"largest process of a run: {peak:.0f} MB; under 400 MB: {'reached' if peak < 400 else 'NOT REACHED'}"
        )
        used, score = of_harminv(taps, truth)
        ratio = used / cpu
        lines.append(
            f"harminv, the same 60 strikes and bands: {used:.1f} s of processor time, {ratio:.1f} times tapscan's whole process"
        )
        lines.append(f"at least 100 times faster than harminv: {'reached' if ratio >= 100 else 'NOT REACHED'}")
        lines += [line("tapscan", of_tapscan(report, truth)), line("harminv", score)]
    text = "\n".join(lines) + "\n"
    (Path(__file__).parent / "results" / "speed.txt").write_text(text, encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
