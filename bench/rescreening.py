"""How much sooner an archive is screened anew on two workers than on one.

    python -m bench.rescreening [SCANS]     writes bench/results/rescreening.txt

Each scan is of a plate of its own: taps from a closed form (tests/sounds.py), four places, three taps each, stored without having been screened. They are screened
anew by `register rescreen`'s own code on Dask's processes on this machine, in a folder's register, with one worker and then with two; what it takes to start the workers is in the
time. The second run has other settings, since a scan that is done is not done again.
"""

import datetime as dt
import os
import sys
import tempfile
import time
from pathlib import Path

import soundfile

from bench import study
from tapscan.layouts import known_layouts, read_layout
from tapscan.register.database import Register, make_register
from tapscan.register.entries import NewScan, Plate
from tapscan.register.plates import add_plate
from tapscan.register.scans import store_scan
from tapscan.settings import Settings
from tapscan.workflow.rescreen_all import rescreen_all, waiting
from tests.register import built
from tests.sounds import taps_at

SCANS, RATE, PLACES, TAPS = 200, 16000, 4, 3
MODES = ((212.0, 0.2, 1.5), (412.0, 0.2, 0.9), (655.0, 0.2, 0.8), (1130.0, 0.15, 0.5), (2480.0, 0.1, 0.3))


def store(register: Register, number: int, home: Path) -> None:
    name = add_plate(register, Plate(f"P{number:04d}")).name
    names = [s.name for s in read_layout(known_layouts()[0]).stations][:PLACES]
    files = []
    for i, station in enumerate(names):
        path = home / f"{station}_1.wav"
        sound = taps_at(
            [0.6 + 1.6 * k for k in range(TAPS)], 0.6 + 1.6 * TAPS, RATE, modes=MODES, seed=1000 * number + i
        )
        soundfile.write(path, sound, RATE, subtype="FLOAT")
        files.append(register.files.keep_file(path, path.name))
    result = built.screening(tuple(f.sha256 for f in files))
    new = NewScan(dt.date(2026, 3, 14), built.CONDITIONS, reading={"per_station": TAPS, "partial": True})
    store_scan(register, name, new, built.made(result), files)


def lasted(register: Register, workers: int, lowest_hz: float) -> tuple[float, int]:
    """Seconds, and how many could not be screened."""
    settings = Settings().but(type(Settings().fit), lowest_hz=lowest_hz)
    left = waiting(register, settings)
    start = time.perf_counter()
    done = list(rescreen_all(register, left, settings, None, workers))
    return time.perf_counter() - start, sum(d.trouble is not None for d in done)


def main() -> None:
    scans = int(sys.argv[1]) if len(sys.argv) > 1 else SCANS
    with tempfile.TemporaryDirectory() as folder:
        register = make_register(Path(folder) / "register")
        for number in range(scans):
            store(register, number, Path(folder))
        load = os.getloadavg()[0]
        one, failed_one = lasted(register, 1, 50.5)
        two, failed_two = lasted(register, 2, 50.6)
    text = (
        f"{study.head()}; load {load:.1f} before the first run: the machine is shared with other work\n\n"
        f"{scans} scans of {PLACES} places, {TAPS} taps each: one worker {one:.0f} s, two workers {two:.0f} s, {one / two:.2f} times faster; "
        f"not screened: {failed_one} and {failed_two}\n"
    )
    (Path(__file__).parent / "results" / "rescreening.txt").write_text(text, encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
