"""How fast a large register answers, and how that grows.

    python -m bench.register [FOLDER]     writes bench/results/register.txt; FOLDER keeps the registers for another run

A register of 1,000 plates, 5,000 scans and 300,000 modes, and one of a tenth of each. Screenings are built by hand: 60 modes
at 8 stations, 24 strikes; five scans a plate, two of them the baseline. One plate of each register also has 40 scans. Times are for the
work itself inside one process (best and worst of twenty plates), and for the whole command, which starts Python and loads libraries too.
"""

import datetime as dt
import hashlib
import os
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from bench import study
from tapscan.places import Layout, Station
from tapscan.records import ModalAmplitude, Mode, Recording, Scan, ScanConditions, Screening, Strike
from tapscan.register.database import Register, make_register, open_register
from tapscan.register.entries import KeptFile, NewScan, NewScreening, Plate
from tapscan.register.plates import add_plate, find_plate, list_plates
from tapscan.register.scans import list_scans, store_scan
from tapscan.sensors import Sensor
from tapscan.settings import Settings
from tapscan.workflow.history import compare_stored, history_of

PLATES, SCANS, MODES, STATIONS = 1000, 5, 60, 8
LONG = 40  # scans of the plate with the longest history
CONDITIONS = ScanConditions(state="stripped", supports="pads", iron_c=18.0, sensor=Sensor("contact"), fittings=())
NAMES = [f"S{i}" for i in range(1, STATIONS + 1)]
LAYOUT = Layout("grand-short", "grand", "", tuple(Station(n, "strut", 0.1 * i, 0.5) for i, n in enumerate(NAMES)))


def casting(number: int) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies (Hz) and amplitudes (dB) of one plate's modes."""
    rng = np.random.default_rng(number)
    return np.sort(60 * 50 ** rng.random(MODES)), rng.normal(-30, 8, (MODES, STATIONS))


def screening(plate: int, scan: int) -> Screening:
    """What one scan of that plate gives, with the scatter of a rescan."""
    f, amplitudes = casting(plate)
    rng = np.random.default_rng((plate, scan))
    f = f * (1 + 1e-4 * rng.normal() + 3e-5 * rng.normal(size=MODES))
    modes = tuple(_mode(i, float(f[i]), amplitudes[i] + rng.normal(0, 1, STATIONS)) for i in range(MODES))
    sha256 = hashlib.sha256(f"{plate} {scan}".encode()).hexdigest()
    recording = Recording("F1", "take.wav", sha256, 48000, 1, 0, 180.0)
    strikes = tuple(
        Strike(f"T{i + 1}", "F1", NAMES[i // 3], "soft", 3.0 * i, 3.0, 0.5, -20.0, 50.0) for i in range(3 * STATIONS)
    )
    heard = Scan((recording,), strikes, modes, "stripped", LAYOUT.name, tuple((n, "strut") for n in NAMES), LAYOUT)
    words = ("Nothing found in what was tested", "The rules that ran raised nothing.", ("Keep this scan.",))
    return Screening(heard, "no relevant indication", *words, (), (), ("Few places.",), "ab" * 32)


def _mode(i: int, f: float, amplitudes_db: np.ndarray) -> Mode:
    rate = 0.0157 * f
    told = tuple(ModalAmplitude(n, float(s)) for n, s in zip(NAMES, amplitudes_db, strict=True))
    figures = (f, 1e-5 * f, rate, 0.01 * rate, 6.9 / rate, 200.0, 0.005, -40.0, 3.0, 4.0, False, 0, STATIONS)
    return Mode(f"M{i + 1}", *figures, "A4", 3.0, "plate", told)


def fill(folder: Path, plates: int, scans: int = SCANS) -> tuple[Register, float]:
    """The register, and seconds a scan takes to store; `scans` of each plate but the first."""
    register = make_register(folder)
    start, stored = time.perf_counter(), 0
    for p in range(plates):
        name = add_plate(register, Plate(f"P{p:04d}", pattern="parlour grand", mass_kg=104.0)).name
        for s in range(LONG if p == 0 else scans):
            store_one(register, name, p, s)
            stored += 1
    return register, (time.perf_counter() - start) / stored


def store_one(register: Register, name: str, plate: int, scan: int) -> None:
    """Rows only; the recordings are not what this bench is about."""
    result = screening(plate, scan)
    day = dt.date(2020, 1, 1) + dt.timedelta(days=30 * scan)
    new = NewScan(day, CONDITIONS, baseline=scan < 2)
    files = [KeptFile(result.scan.recordings[0].sha256, 1_000_000, "take.wav")]
    store_scan(register, name, new, NewScreening(result, "lowest_hz = 50.0\n", "bench"), files)


def plate_page(register: Register, name: str) -> None:
    """What `tapscan plate show` reads."""
    find_plate(register, name)
    list_scans(register, name)


WORK: dict[str, Callable[[Register, str], object]] = {
    "plate page": plate_page,
    "compare": lambda register, name: compare_stored(register, name, Settings()),
    "history": lambda register, name: history_of(register, name, Settings()),
    "list of plates": lambda register, _: list_plates(register),
}
COMMANDS = {"plate page": ("plate", "show"), "compare": ("compare",), "history": ("history",)}


def seconds(register: Register, work: Callable[[Register, str], object], plates: int) -> tuple[float, float]:
    """Median and worst over twenty plates spread over the register."""
    names = [f"P{p:04d}" for p in np.linspace(1, plates - 1, 20).astype(int)]
    work(register, names[0])
    times = []
    for name in names:
        start = time.perf_counter()
        work(register, name)
        times.append(time.perf_counter() - start)
    return float(np.median(times)), max(times)


def command(folder: Path, words: tuple[str, ...], name: str) -> float:
    """Best of three whole commands."""
    times = []
    for _ in range(3):
        start = time.perf_counter()
        line = [sys.executable, "-m", "tapscan", *words, name, "--register", str(folder)]
        subprocess.run(line, check=True, stdout=subprocess.DEVNULL)
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    """Print and store the table."""
    kept = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    with tempfile.TemporaryDirectory() as temporary:
        home = kept or Path(temporary)
        made = {plates: _filled(home / str(plates), plates) for plates in (PLATES // 10, PLATES)}
        text = "\n".join(_lines(made)) + "\n"
    (Path(__file__).parent / "results" / "register.txt").write_text(text, encoding="utf-8")
    print(text, end="")


def _filled(folder: Path, plates: int) -> tuple[Register, float | None]:
    return (open_register(folder), None) if folder.exists() else fill(folder, plates)


def _lines(made: dict[int, tuple[Register, float | None]]) -> list[str]:
    small, large = (made[p][0] for p in sorted(made))
    lines = [
        f"{study.head()}, SQLite {sqlite3.sqlite_version}; load {os.getloadavg()[0]:.1f} while it ran",
    ]
    for _, (register, each) in sorted(made.items()):
        with register.reading() as connection:
            counts = [
                connection.exec_driver_sql(f"SELECT count(*) FROM {t}").scalar_one() for t in ("plate", "scan", "mode")
            ]
        size = (register.folder / "register.sqlite").stat().st_size / 1e6
        stored = "" if each is None else f", {1000 * each:.0f} ms to store a scan"
        lines.append(f"{counts[0]} plates, {counts[1]} scans, {counts[2]} modes: {size:.0f} MB{stored}")
    lines += ["", "milliseconds       a tenth: median  worst    full: median  worst    growth   whole command (full)"]
    for name, work in WORK.items():
        few, many = seconds(small, work, PLATES // 10), seconds(large, work, PLATES)
        whole = f"{1000 * command(large.folder, COMMANDS[name], 'P0500'):10.0f}" if name in COMMANDS else ""
        cells = [1000 * t for t in (*few, *many)]
        lines.append(
            f"{name:18} {cells[0]:15.1f} {cells[1]:6.1f} {cells[2]:15.1f} {cells[3]:6.1f} {many[0] / few[0]:9.2f}   {whole}"
        )
    start = time.perf_counter()
    history_of(large, "P0000", Settings())
    lines.append(f"history of a plate with {LONG} scans: {1000 * (time.perf_counter() - start):.0f}")
    return lines


if __name__ == "__main__":
    main()
