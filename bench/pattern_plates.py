"""The plates of bench/pattern.py: five patterns that are counted, and five others on which the limits were set.

make_tables(folder, names)   a table a pattern (bench/plates/castings.py); what is there stays
TUNED, COUNTED               names of the patterns
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from msgspec.structs import replace

from bench.plates.cases import SOUND, Flaw
from bench.plates.castings import casting_arrays
from bench.plates.mesh import triangulate
from bench.plates.pattern import Pattern
from bench.plates.patterns import NAMES
from bench.plates.tables import table_meta
from bench.plates.varied import pattern_of

COUNTED = NAMES
TUNED = (
    "small-grand-31",
    "parlour-grand-34",
    "concert-grand-32",
    "upright-full-33",
    "upright-three-quarter-35",
)  # the first seeds from 31 on that leave every place on the iron
BASIS = 143  # modes, three rigid ones among them
SEVERED, HALF_DEEP = (5, 3), (2, 1)  # places a counted and a tuned pattern
OTHER_KINDS = (("corner", 0.06), ("rim", 0.03))


def flaws_of(pattern: Pattern, counted: bool) -> list[Flaw]:
    """The sound plate first."""
    struts = [line.name for line in pattern.lines if line.kind == "strut"]
    place = 0 if counted else 1
    out = [SOUND]
    out += [Flaw("severed", name, 1.0) for name in _spread(struts, SEVERED[place])]
    out += [Flaw("depth", name, 0.5) for name in _spread(struts, HALF_DEEP[place])]
    if counted:
        for kind, size in OTHER_KINDS:
            names = [line.name for line in pattern.lines if line.kind == kind]
            out += [Flaw(kind, names[0], size)] if names else []
        out += [Flaw("chill")]
    return out


def _spread(names: Sequence[str], count: int) -> list[str]:
    return [names[i] for i in np.unique(np.linspace(0, len(names) - 1, count).round().astype(int))]


def _kept(pattern: Pattern, flaws: Sequence[Flaw]) -> Pattern:
    """Without the crack lines that no flaw opens."""
    used = {flaw.line for flaw in flaws}
    return replace(pattern, lines=[line for line in pattern.lines if line.name in used])


def make_tables(folder: Path, names: Sequence[str] = (*TUNED, *COUNTED)) -> None:
    """Some minutes a pattern."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in names:
        path = folder / f"{name}.npz"
        if path.exists():
            continue
        begun = time.perf_counter()
        pattern = pattern_of(name)
        flaws = flaws_of(pattern, name in COUNTED)
        pattern = _kept(pattern, flaws)
        mesh = triangulate(pattern)
        arrays = casting_arrays(pattern, mesh, flaws, BASIS, table_meta(pattern, mesh, flaws), print)
        half = path.with_suffix(".half.npz")
        np.savez(half, **arrays)  # type: ignore[arg-type]
        half.replace(path)
        print(f"{name}: {len(flaws)} cases in {time.perf_counter() - begun:.0f} s", flush=True)
