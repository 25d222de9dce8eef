"""What the limits of the force rule were chosen from: scans without a flaw and breathing cracks that bench/detection.py does not report.

    python -m bench.force_limits WORK [WORK ...]     writes bench/results/force_limits.txt

WORK : folders of finished scans (bench/detection_store.py); only castings with seeds under CHOSEN_UNDER count. For some floors and ranks, scans in which no room was heard, those in which one rang along and those from before rooms were told apart: the
largest scores of plates without a flaw, and how many breathing cracks pass the largest. Scans on which the rule does not run are left out. Simulated.
"""

from __future__ import annotations

import argparse
import gzip
import json
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from bench import study
from bench.detection_store import SETTINGS
from tapscan.records import Scan
from tapscan.register.codec import record_of
from tapscan.screening.mode_origins import with_origins
from tapscan.screening.rules import force_dependence
from tapscan.screening.rules.force_dependence import ForceLimits

HEARD: dict[str, Callable[[Scan], bool]] = {
    "no room heard": lambda s: s.room is None and s.room_reason != "not measured",
    "a room rings along": lambda s: s.room is not None,
    "made before rooms were told apart, all sensors": lambda s: s.room is None and s.room_reason == "not measured",
}
RESULTS = Path(__file__).parent / "results" / "force_limits.txt"
CHOSEN_UNDER = 4200  # seeds; later ones were reported, at one time or another
FLOORS_PPM, RANKS = (100.0, 300.0, 500.0), (7, 10, 12, 14, 16, 20)


def scans(folders: Sequence[Path]) -> Iterator[tuple[str, Scan]]:
    """Kind and scan of every casting that is not reported."""
    for path in sorted(p for folder in folders for p in folder.glob("*.json.gz")):
        _, label, _, seed = path.name.removesuffix(".json.gz").split("; ")[:4]
        kind = "breathing" if label.startswith("breathing") else label
        if int(seed.split()[0]) < CHOSEN_UNDER and kind in ("sound", "breathing"):
            yield kind, record_of(Scan, json.loads(gzip.decompress(path.read_bytes()))["scan"])


def table(runs: Sequence[tuple[str, Scan]], words: str) -> list[str]:
    """Floors and ranks, and what passes the shipped limits."""
    lines = [
        f"{words}: {sum(k == 'sound' for k, _ in runs)} plates without a flaw and {sum(k == 'breathing' for k, _ in runs)} breathing cracks",
        "floor ppm  rank  largest without a flaw             breathing over the largest of these",
    ]
    for floor in FLOORS_PPM:
        for rank in RANKS:
            tried = SETTINGS.but(ForceLimits, floor_ppm=floor, rank=float(rank))
            told = [(kind, force_dependence.plainest(scan, tried)[0]) for kind, scan in runs]
            sound = sorted((s for k, s in told if k == "sound"), reverse=True)
            cracked = [s for k, s in told if k == "breathing"]
            lines.append(
                f"{floor:9.0f}  {rank:4d}  {'  '.join(f'{s:5.2f}' for s in sound[:5])}  {sum(s > sound[0] for s in cracked)} of {len(cracked)}"
            )
    passed = [k for k, scan in runs if force_dependence.plainest(scan, SETTINGS)[0] >= SETTINGS.of(ForceLimits).score]
    lines.append(
        f"at the shipped limits: without a flaw {passed.count('sound')}, breathing {passed.count('breathing')}"
    )
    return lines


def main() -> None:
    """Print and store the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("work", type=Path, nargs="+")
    found = [(kind, with_origins(scan, SETTINGS)) for kind, scan in scans(parser.parse_args().work)]
    runs = [(kind, scan) for kind, scan in found if force_dependence.lacking(scan, SETTINGS) is None]
    lines = [
        f"{study.head()}; SIMULATED",
        f"shipped: floor {SETTINGS.of(ForceLimits).floor_ppm:.0f} ppm, rank {SETTINGS.of(ForceLimits).rank:.0f}, limit {SETTINGS.of(ForceLimits).score:.1f}",
    ]
    for words, which in HEARD.items():
        lines += ["", *table([(k, s) for k, s in runs if which(s)], words)]
    text = "\n".join(lines) + "\n"
    RESULTS.write_text(text, encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
