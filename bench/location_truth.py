"""Plates of known flaws for bench.location: one size a place, many places, solved on the simulator's own mesh.

truth_flaws(pattern)        the flaws of a drawn pattern: cracks over struts, at corners, screw holes, the pin field and the outer edge
make(folder, names)         a table for each pattern, kept; a table that is there already is not made again
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from bench.plates.cases import SOUND, Flaw
from bench.plates.drawn import draw_places
from bench.plates.layout import more_stations
from bench.plates.mesh import triangulate
from bench.plates.pattern import Pattern
from bench.plates.patterns import NAMES, build
from bench.plates.tables import solve_pattern, write_table

PLACES, SEED, MODES, STATIONS = 7, 5, 90, 36
STRUT_SIZES = (("depth", 0.5), ("width", 0.5), ("depth", 0.25))  # in turn; half depth is also where a closed crack rubs
OTHER_SIZES = {"corner": ("inner corner", 0.03), "bolt": ("bolt", 0.06), "pin": ("pin", 0.03), "rim": ("rim", 0.03)}


def drawn(name: str) -> Pattern:
    """A pattern with the crack lines of this study."""
    return draw_places(build(name), PLACES, SEED)


def truth_flaws(pattern: Pattern) -> list[Flaw]:
    """The sound case first."""
    struts = [line for line in pattern.lines if line.kind == "strut"]
    found = [SOUND]
    found += [
        Flaw(*STRUT_SIZES[k % len(STRUT_SIZES)][:1], line.name, STRUT_SIZES[k % len(STRUT_SIZES)][1])
        for k, line in enumerate(struts)
    ]
    for line in pattern.lines:
        if line.kind in OTHER_SIZES:
            kind, size = OTHER_SIZES[line.kind]
            found.append(Flaw(kind, line.name, size))
    return found


def make(folder: Path, names: Sequence[str] = NAMES) -> None:
    """Some minutes a pattern."""
    for name in names:
        path = folder / f"{name}.npz"
        if path.exists():
            continue
        pattern = drawn(name)
        mesh = triangulate(pattern)
        pattern = more_stations(pattern, mesh, STATIONS)
        write_table(path, solve_pattern(pattern, mesh, truth_flaws(pattern), MODES, print))
