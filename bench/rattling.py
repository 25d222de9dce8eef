"""Modes of a plate on which a screw rattles, by two revisions: whether the stated 95 % intervals hold the truth.

    python -m bench.rattling WORK REVISION [--against HEAD] [--castings 14]      writes bench/results/rattling.txt

Castings of one pattern, 20 places, 3 taps at each, 16 kHz, a loose screw at one support (bench/timed_scans.py). Modes from 60 to 1200 Hz, matched
as in bench/accuracy_plates.py. Both revisions read the same recordings, so the difference is of pairs; its 95 % interval is by Student's t. What is in WORK already is
not screened again. SIMULATED.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import soundfile
from scipy.stats import t as student

from bench import study
from bench.accuracy_plates import Scored, scored
from bench.same_numbers import asked, commit_of, unpack
from bench.simulate.take import one_recording
from bench.timed_scans import ORDER, Kind, plate, taps

RESULT = Path(__file__).parent / "results" / "rattling.txt"
KIND = Kind(16_000, rattles=True)
HAND = 1000  # and the casting's number: seed of hand, rattle and noise
FIELDS = ("frequency_hz", "frequency_sd_hz", "decay_rate_per_s", "decay_rate_sd_per_s", "loss_factor")
ROWS = {
    "recall": lambda s: s.recall,
    "precision": lambda s: s.precision,
    "intervals of frequency that hold": lambda s: s.held[0],
    "intervals of decay that hold": lambda s: s.held[1],
    "frequency error ppm, median": lambda s: float(np.median(s.frequency_ppm)),
    "loss factor error %, median": lambda s: float(np.median(s.loss_percent)),
}


def found(tree: Path, commit: str, casting: int, work: Path) -> Scored:
    """One casting by one revision, against its own modes."""
    told = work / f"{commit[:7]}-{casting}.json"
    if not told.exists():
        path = work / f"{casting}.wav"
        samples, _ = one_recording(taps(KIND, casting=casting, seed=HAND + casting))
        soundfile.write(path, samples, KIND.rate_hz, subtype="PCM_24")
        done = asked(tree, ["check", str(path), "--order", ",".join(ORDER), "--json", str(told)], work)
        if done.returncode:
            raise SystemExit(f"{commit[:7]}, casting {casting}: {done.stderr.strip()}")
    modes: Any = tuple(SimpleNamespace(**{f: m[f] for f in FIELDS}) for m in json.loads(told.read_text())["modes"])
    return scored(modes, plate(KIND.rate_hz, casting))


def line(name: str, before: list[float], after: list[float]) -> str:
    """Means, and the mean of the differences with its interval."""
    apart = np.subtract(after, before)
    half = student.ppf(0.975, len(apart) - 1) * apart.std(ddof=1) / np.sqrt(len(apart))
    return f"{name:34} {np.mean(before):7.3f} {np.mean(after):7.3f}   {apart.mean():+.3f} +-{half:.3f}"


def main() -> None:
    """Print and store."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("work", type=Path)
    ask.add_argument("revision")
    ask.add_argument("--against", default="HEAD")
    ask.add_argument("--castings", type=int, default=14)
    said = ask.parse_args()
    commits = [commit_of(said.revision), commit_of(said.against)]
    for commit in commits:
        unpack(commit, said.work / commit[:7])
    castings = range(1, said.castings + 1)
    scores = [[found(said.work / c[:7], c, n, said.work.resolve()) for n in castings] for c in commits]
    lines = [
        f"{len(castings)} castings on which a screw rattles, {commits[0][:7]} and {commits[1][:7]}; {study.head()}; SIMULATED"
    ]
    lines += [line(name, *([value(s) for s in part] for part in scores)) for name, value in ROWS.items()]
    RESULT.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
