"""Whether two versions say the same of the same sounds, field by field.

    python -m bench.same_numbers REVISION [--scans N] [--tolerance 1e-9] [--ignore PATH ...]

The reference recordings, and N simulated scans made once, go through `tapscan check --json` of REVISION (a git worktree of its own)
and of the working tree. Printed are the paths in the JSON that differ, how often, and by how much at most. It knows nothing of the package
but its command line, so that modules may move.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parent.parent
MAKE = """
import sys
import numpy as np, soundfile
from tapscan.demo.plates import draw_iron, load_table, plate_modes
from tapscan.demo.taps import add_noise, one_recording, scale_to, scan, sensor_names, snr_noise_rms
target, seed = sys.argv[1], int(sys.argv[2])
names = ("parlour-grand", "upright-full")
table = load_table(names[seed % len(names)])
plate = plate_modes(table, "sound", draw_iron(table, np.random.default_rng(seed)))
rng = np.random.default_rng(seed + 1000)
sensor = next(n for n in sensor_names(plate) if not n.startswith("near"))
taps = scan(plate, sensor, 8000, rng, ("soft", "hard"), plate.table.station_names[:8], 2.0, None, peak=None)
taps = scale_to(add_noise(taps, snr_noise_rms(taps, 50.0), rng), 0.5)
samples, _ = one_recording(taps)
soundfile.write(target, samples, 8000, subtype="PCM_24")
"""


def tasks(folder: Path, scans: int) -> list[tuple[str, list[str]]]:
    """(name, arguments of `tapscan check`)."""
    found = [(p.stem, [str(p)]) for p in sorted((ROOT / "reference_recordings" / "real").glob("*.flac"))]
    for one in sorted((ROOT / "reference_recordings" / "simulated").iterdir()):
        if one.is_dir():
            found.append((one.name, [*map(str, sorted(one.glob("*.flac"))), "--state", "stripped"]))
    for seed in range(scans):
        path = folder / f"simulated-{seed:03d}.wav"
        if not path.exists():
            subprocess.run([sys.executable, "-c", MAKE, str(path), str(seed)], check=True, env=_env(ROOT))
        found.append((path.stem, [str(path), "--order", "soft,hard", "--state", "stripped"]))
    return found


def answer(tree: Path, arguments: list[str]) -> Any:
    """The JSON that the version in `tree` gives."""
    command = [sys.executable, "-m", "tapscan", "check", *arguments, "--json", "-"]
    done = subprocess.run(command, cwd=tree, env=_env(tree), capture_output=True, text=True, check=False)
    text = done.stdout[done.stdout.find("{") : done.stdout.rfind("}") + 1]
    return json.loads(text) if text else {"error": done.stderr.strip()}


def _env(tree: Path) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(tree), "OPENBLAS_NUM_THREADS": "1"}


def differences(a: Any, b: Any, tolerance: float, path: str = "") -> Iterator[tuple[str, float]]:
    """(path without indices, relative difference; inf where it is none of size)."""
    if isinstance(a, dict) and isinstance(b, dict):
        for key in sorted(set(a) | set(b)):
            if key not in a or key not in b:
                yield f"{path}.{key} ({'new' if key in b else 'gone'})".lstrip("."), float("inf")
            else:
                yield from differences(a[key], b[key], tolerance, f"{path}.{key}".lstrip("."))
    elif isinstance(a, list) and isinstance(b, list):
        if len(a) != len(b):
            yield f"{path}[] (length)", float("inf")
        for x, y in zip(a, b, strict=False):
            yield from differences(x, y, tolerance, f"{path}[]")
    elif isinstance(a, int | float) and isinstance(b, int | float) and not isinstance(a, bool):
        size = abs(a - b) / max(abs(a), abs(b), 1e-300)
        if size > tolerance:
            yield path, size
    elif a != b:
        yield path, float("inf")


def main() -> int:
    """1 where something differs that was not named with --ignore."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("revision")
    ask.add_argument("--scans", type=int, default=40)
    ask.add_argument("--tolerance", type=float, default=0.0)
    ask.add_argument("--ignore", nargs="*", default=[])
    said = ask.parse_args()
    with tempfile.TemporaryDirectory() as work:
        old = Path(work) / "old"
        subprocess.run(["git", "worktree", "add", "-q", "--detach", str(old), said.revision], cwd=ROOT, check=True)
        try:
            every = tasks(Path(work), said.scans)
            seen: dict[str, list[float]] = defaultdict(list)
            for name, arguments in every:
                found = list(differences(answer(old, arguments), answer(ROOT, arguments), said.tolerance))
                for path, size in found:
                    seen[path].append(size)
                print(f"{name}: {len({p for p, _ in found})} paths differ", file=sys.stderr, flush=True)
        finally:
            subprocess.run(["git", "worktree", "remove", "--force", str(old)], cwd=ROOT, check=True)
    left = 0
    print(f"{len(every)} checks, {said.revision} against the working tree, tolerance {said.tolerance:g}")
    for path, sizes in sorted(seen.items()):
        named = any(path.startswith(i) for i in said.ignore)
        left += not named
        print(f"  {len(sizes):6d}  {max(sizes):9.2g}  {path}{'  (ignored)' if named else ''}")
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main())
