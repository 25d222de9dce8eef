"""Whether two versions say the same of the same sounds, field by field.

    python -m bench.same_numbers --rev REVISION [--against OTHER] [--only reference|demo|simulated] [--scans N] [--jobs 2]
                                 [--cache FOLDER] [--tolerance 1e-9] [--ignore PATH ...]

The reference recordings, N simulated scans and `tapscan demo` go through the command line of REVISION and of the working tree (or of OTHER). Printed are
the paths in the JSON that differ: how often, in how many checks, by how much at most, and one example. `--ignore modes[].note` leaves out
that path and all below it. It knows nothing of the package but its command line, so modules may move.

The sound is made once. Sounds and a revision's answers are kept in the cache; the working tree is asked anew each time.
The status is 1 where something differs that is not ignored, or where a version gave no answer.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import json
import math
import os
import subprocess
import sys
import tarfile
import tempfile
from collections import defaultdict
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from msgspec import Struct, field

ROOT = Path(__file__).resolve().parent.parent
KINDS = ("reference", "simulated", "demo")
RATES_HZ = (8000, 16000)
PLACES, SECONDS = 8, 2.0
Answers = dict[str, Any]  # name: JSON


class Check(Struct, frozen=True):
    """One call of `tapscan check`."""

    name: str
    files: tuple[Path, ...]
    options: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """Changes with the sound and with the options."""
        told = hashlib.sha256(" ".join((*map(str, self.files), *self.options)).encode())
        for path in self.files:
            told.update(path.read_bytes())
        return f"{self.name}-{told.hexdigest()[:12]}"


class Seen(Struct):
    """What differs at one path."""

    count: int = 0
    checks: set[str] = field(default_factory=set)
    largest: float = 0.0
    example: str = ""


def make_sound(path: Path, seed: int) -> None:
    """Eight places, a soft and a hard tap each, at one of two rates; simulated. The file is complete or not there."""
    import numpy as np
    import soundfile

    from bench.simulate.take import one_recording
    from tapscan.demo.plates import draw_iron, load_table, pattern_names, plate_modes
    from tapscan.demo.taps import add_noise, scale_to, scan, sensor_names, snr_noise_rms

    rng = np.random.default_rng([20, seed])
    table = load_table(pattern_names()[seed % len(pattern_names())])
    label = table.labels[int(rng.integers(len(table.labels)))] if seed % 2 else "sound"
    plate = plate_modes(table, label, draw_iron(table, rng))
    rate = RATES_HZ[seed % len(RATES_HZ)]
    stations = table.station_names[:PLACES]
    taps = scan(plate, sensor_names(plate)[0], rate, rng, ("soft", "hard"), stations, SECONDS, None, peak=None)
    taps = scale_to(add_noise(taps, snr_noise_rms(taps, 50.0), rng), 0.5)
    half = path.with_suffix(".half")
    soundfile.write(half, one_recording(taps)[0], rate, subtype="PCM_24", format="WAV")
    half.replace(path)


def checks_of(kinds: Sequence[str], scans: int, cache: Path) -> list[Check]:
    """The same files for both versions."""
    out = []
    if "reference" in kinds:
        folder = ROOT / "reference_recordings"
        out += [Check(p.stem, (p,)) for p in sorted((folder / "real").glob("*.flac"))]
        for one in sorted(p for p in (folder / "simulated").iterdir() if p.is_dir()):
            out.append(Check(one.name, tuple(sorted(one.glob("*.flac"))), ("--state", "stripped")))
    for seed in range(scans if "simulated" in kinds else 0):
        path = cache / "sounds" / f"simulated-{seed:03d}.wav"
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            make_sound(path, seed)
        out.append(Check(path.stem, (path,), ("--order", "soft,hard", "--state", "stripped")))
    return out


def asked(tree: Path, words: Sequence[str], folder: Path) -> subprocess.CompletedProcess[str]:
    """The command line of the version in `tree`, run in a folder that holds no version."""
    about = {**os.environ, "PYTHONPATH": str(tree), "OPENBLAS_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "-m", "tapscan", *words]
    return subprocess.run(command, cwd=folder, env=about, capture_output=True, text=True, check=False)


def answer(tree: Path, check: Check, kept: Path | None) -> Any:
    """The JSON of one check; where there is none, what went wrong."""
    path = kept / f"{check.key}.json" if kept else None
    if path and path.exists():
        return json.loads(path.read_text(encoding="utf-8"))
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "answer.json"
        done = asked(tree, ["check", *map(str, check.files), *check.options, "--json", str(target)], Path(folder))
        if not target.exists():
            return {"no answer": f"status {done.returncode}: {done.stderr.strip()[-300:]}"}
        text = target.read_text(encoding="utf-8")
    if path:
        _keep(path, text)
    return json.loads(text)


def demo_answers(tree: Path, kept: Path | None) -> Answers:
    """The JSON of each scan of `tapscan demo`."""
    path = kept / "demo.json" if kept else None
    if path and path.exists():
        return dict(json.loads(path.read_text(encoding="utf-8")))
    with tempfile.TemporaryDirectory() as folder:
        done = asked(tree, ["demo", "shop"], Path(folder))
        found = sorted((Path(folder) / "shop").glob("*.json"))
        if done.returncode or not found:
            return {"demo": {"no answer": f"status {done.returncode}: {done.stderr.strip()[-300:]}"}}
        out = {p.stem: json.loads(p.read_text(encoding="utf-8")) for p in found}
    if path:
        _keep(path, json.dumps(out))
    return out


def _keep(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    half = path.with_suffix(".half")
    half.write_text(text, encoding="utf-8")
    half.replace(path)


def answers_of(tree: Path, checks: Sequence[Check], demo: bool, kept: Path | None, jobs: int) -> Answers:
    """Everything one version says; `kept` : where its answers are looked for and kept."""
    with ThreadPoolExecutor(jobs) as pool:
        shop = pool.submit(demo_answers, tree, kept) if demo else None
        told = list(pool.map(lambda c: answer(tree, c, kept), checks))
        found = {c.name: one for c, one in zip(checks, told, strict=True)}
        return found | (shop.result() if shop else {})


def answers_at(commit: str | None, checks: Sequence[Check], demo: bool, cache: Path, jobs: int) -> Answers:
    """Of a revision, or of the working tree where there is none; only a revision's answers are kept."""
    if commit is None:
        return answers_of(ROOT, checks, demo, None, jobs)
    with tempfile.TemporaryDirectory() as folder:
        unpack(commit, Path(folder))
        return answers_of(Path(folder), checks, demo, cache / commit, jobs)


def differences(a: Any, b: Any, tolerance: float, path: str = "") -> Iterator[tuple[str, float, Any, Any]]:
    """(path without numbers of items, relative difference or inf where it has no size, before, after)."""
    if isinstance(a, dict) and isinstance(b, dict):
        for key in sorted({*a, *b}):
            here = f"{path}.{key}" if path else key
            if key not in a or key not in b:
                yield f"{here} ({'new' if key in b else 'gone'})", math.inf, a.get(key), b.get(key)
            else:
                yield from differences(a[key], b[key], tolerance, here)
    elif isinstance(a, list) and isinstance(b, list):
        if len(a) != len(b):
            yield f"{path} (length)", math.inf, len(a), len(b)
        for x, y in zip(a, b, strict=False):
            yield from differences(x, y, tolerance, f"{path}[]")
    elif _number(a) and _number(b):
        apart = abs(a - b) / max(abs(a), abs(b)) if a != b else 0.0
        if apart > tolerance:
            yield path, apart, a, b
    elif a != b or type(a) is not type(b):
        yield path, math.inf, a, b


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def ignored(path: str, named: Sequence[str]) -> bool:
    """Whether the path, or one above it, was named."""
    bare = path.split(" (", maxsplit=1)[0]
    return any(bare == n or bare.startswith((f"{n}.", f"{n}[")) for n in named)


def compared(old: Answers, new: Answers, tolerance: float) -> dict[str, Seen]:
    """By path."""
    out: dict[str, Seen] = defaultdict(Seen)
    for name in sorted({*old, *new}):
        before, after = old.get(name, {"no answer": "not run"}), new.get(name, {"no answer": "not run"})
        for path, apart, a, b in differences(before, after, tolerance):
            seen = out[path]
            seen.count += 1
            seen.checks.add(name)
            if apart > seen.largest:
                seen.largest, seen.example = apart, f"{name}: {_short(a)} -> {_short(b)}"
        if "no answer" in before and "no answer" in after:
            seen = out["no answer"]
            seen.count, seen.example = seen.count + 1, f"{name}: {_short(after['no answer'])}"
            seen.checks.add(name)
    return dict(out)


def _short(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 70 else text[:67] + "..."


def commit_of(rev: str) -> str:
    done = subprocess.run(
        ["git", "rev-parse", f"{rev}^{{commit}}"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return done.stdout.strip()


def unpack(commit: str, folder: Path) -> None:
    """The package of a revision, and nothing else."""
    done = subprocess.run(["git", "archive", commit, "tapscan"], cwd=ROOT, capture_output=True, check=True)
    with tarfile.open(fileobj=io.BytesIO(done.stdout)) as tar:
        tar.extractall(folder, filter="data")


def lines_of(found: dict[str, Seen], named: Sequence[str]) -> list[str]:
    """A path a line, ignored ones last and without an example."""
    out = [f"{'times':>7s} {'checks':>6s} {'at most':>9s}  path"]
    for path, seen in sorted(found.items(), key=lambda item: (ignored(item[0], named), item[0])):
        size = "" if math.isinf(seen.largest) or not seen.largest else f"{seen.largest:.2g}"
        more = "  (ignored)" if ignored(path, named) else f"\n{'':26s}{seen.example}"
        out.append(f"{seen.count:7d} {len(seen.checks):6d} {size:>9s}  {path}{more}")
    return out


def arguments() -> argparse.Namespace:
    """What is asked for."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--rev", required=True)
    ask.add_argument("--against", metavar="OTHER", help="a second revision in place of the working tree")
    ask.add_argument("--only", choices=KINDS)
    ask.add_argument("--scans", type=int, default=40)
    ask.add_argument("--jobs", type=int, default=2)
    ask.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "tapscan-same-numbers")
    ask.add_argument("--tolerance", type=float, default=0.0)
    ask.add_argument("--ignore", action="extend", nargs="+", default=[], metavar="PATH")
    return ask.parse_args()


def main() -> int:
    """1 where something differs that was not ignored."""
    said = arguments()
    kinds = (said.only,) if said.only else KINDS
    cache = said.cache.resolve()
    checks = checks_of(kinds, said.scans, cache)
    revisions = [commit_of(said.rev), commit_of(said.against) if said.against else None]
    old, new = (answers_at(r, checks, "demo" in kinds, cache, said.jobs) for r in revisions)
    before, after = (r[:7] if r else "the working tree" for r in revisions)
    found = compared(old, new, said.tolerance)
    left = [path for path in found if not ignored(path, said.ignore)]
    print(f"{len(new)} answers, {before} against {after}, relative tolerance {said.tolerance:g}")
    print("\n".join(lines_of(found, said.ignore)) if found else "nothing differs")
    print(f"{len(left)} paths differ that are not ignored")
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main())
