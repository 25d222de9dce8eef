"""Real objects that nobody changed: bars struck soft and hard, and cymbals whose strikes are halved.

    python -m bench.real_halves BARS CYMBALS      writes bench/results/real_halves.txt

BARS: a folder of NAME_pp.flac and NAME_ff.flac, one stroke each (FreePats xylophone 2020-07-06, CC0). Each stroke is fitted alone; a z is the difference of a mode's
frequencies (pairs within 2000 ppm) over what both standard deviations allow, and again with these multiplied as a scan of both strokes is.
CYMBALS: drumkits/ForzeeStereo of Debian's hydrogen-drumkits (GPL-2; by apt, nothing of it ships). Edge, bell and bow are three places; the even-numbered files against the odd ones.
UNSTEADY (screening/compare/rattles.py) was set on these two cymbals: that nothing is called here shows that it works, not how often it is right. No other cymbal was tried.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import soundfile

from bench import study
from tapscan.records import FloatArray, Scan, ScanConditions, ScanForComparison, Sensor
from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.compare.rattles import UNSTEADY
from tapscan.settings import Settings
from tapscan.workflow.check import Request, check

RESULT = Path(__file__).parent / "results" / "real_halves.txt"
QUIET_S, LONGEST_S = 0.3, 4.0
SAME = 2e-3
CYMBALS, PLACES = ("Ride", "CrashRide18"), ("", "Bell", "Bow")


def sound(path: Path) -> tuple[FloatArray, int]:
    """The middle of the channels, silence before."""
    samples, rate = soundfile.read(path, always_2d=True)
    return np.concatenate([np.zeros(round(QUIET_S * rate)), samples.mean(axis=1)[: round(LONGEST_S * rate)]]), int(rate)


def scanned(places: dict[str, list[Path]]) -> Scan:
    """The strikes of each place, one after the other."""
    with TemporaryDirectory(prefix="halves-") as folder:
        paths = []
        for place, files in places.items():
            pieces = [sound(f) for f in files]
            path = Path(folder) / f"{place}.wav"
            soundfile.write(path, np.concatenate([x for x, _ in pieces]), pieces[0][1], subtype="PCM_24")
            paths.append(str(path))
        screening = check(paths, Request(state="stripped")).screening
    assert screening is not None
    return screening.scan


def of_bar(soft: Path, hard: Path) -> tuple[list[float], list[float]]:
    """z of each mode as stated, and widened by what both strokes together tell."""
    one, other, both = (scanned({"S1": files}) for files in ([soft], [hard], [soft, hard]))
    wide = both.self_scatter.widened_by if both.self_scatter else 1.0
    z = []
    for m in one.modes:
        near = min(other.modes, key=lambda x: abs(x.frequency_hz - m.frequency_hz), default=None)
        sure = near is not None and not any((x.reason or "").startswith("unsure") for x in (m, near))
        if near is not None and sure and abs(near.frequency_hz / m.frequency_hz - 1) < SAME:
            z.append(
                (near.frequency_hz - m.frequency_hz) / np.hypot(near.frequency_sd_hz or 0.0, m.frequency_sd_hz or 0.0)
            )
    return z, [x / wide for x in z]


def of_cymbal(folder: Path, name: str) -> list[str]:
    """What the comparison of the halves says, by what is told of the sensor."""
    files = {p: sorted(folder.glob(f"{name}{p}-*.wav")) for p in PLACES}
    halves = [scanned({f"S{i}": f[part::2] for i, f in enumerate(files.values(), 1)}) for part in (0, 1)]
    own: list[Any] = [h.self_scatter for h in halves]
    lines = [
        f"{name:12} z of strikes {own[0].strikes:.1f}, {own[1].strikes:.1f}; widened by {own[0].widened_by:.1f}, {own[1].widened_by:.1f}"
    ]
    for kind in ("contact", "microphone"):
        conditions = ScanConditions(state="stripped", sensor=Sensor(kind))
        first, second = (
            ScanForComparison(f"CYMBAL/2026-01-0{d}", f"2026-01-0{d}", conditions, h) for d, h in enumerate(halves, 1)
        )
        told = compare_scans(second, [first], Settings())
        relevant = [i.rule for i in told.indications if i.interpretation == "relevant"]
        lines.append(
            f"    told {kind:10}  relevant: {', '.join(relevant) or 'none'}; {'not judged' if told.rules_not_run else 'judged'}"
        )
    return lines


def main() -> None:
    """Print and store."""
    ask = argparse.ArgumentParser(prog="python -m bench.real_halves", description=__doc__.splitlines()[0])
    ask.add_argument("bars", type=Path)
    ask.add_argument("cymbals", type=Path)
    said = ask.parse_args()
    bars = [of_bar(p, p.with_name(p.name.replace("_pp", "_ff"))) for p in sorted(said.bars.glob("*_pp.flac"))]
    stated, widened = (np.concatenate([b[i] for b in bars]) for i in (0, 1))
    z = [float(np.sqrt(np.mean(x**2))) for x in (stated, widened)]
    lines = [
        f"Real objects that nobody changed; {study.head()}",
        f"{len(bars)} bars, soft against hard: {len(stated)} modes, z-scatter {z[0]:.2f} of single strokes, {z[1]:.2f} widened; at most 1.5: {'reached' if z[1] <= 1.5 else 'NOT reached'}",
    ]
    lines.append(
        f"Two cymbals, even strokes against odd; the limit of taps that disagree ({UNSTEADY}) was set on these two"
    )
    for name in CYMBALS:
        lines += of_cymbal(said.cymbals, name)
    RESULT.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
