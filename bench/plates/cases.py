"""Flaws put into a meshed pattern: which sides open, how stiff a part-depth crack is, and the solved result.

``Flaw``             what is wrong, in words and numbers
``edge_crack_compliance``  rotation per moment of an edge crack in a bar
``Case``, ``solve_case``   modes of the pattern with one flaw
``opened_case``      the same before its modes are solved
``shipped_flaws``, ``many_flaws``   the flaws in the package's tables, and at every crack line of a pattern
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import shapely
from msgspec import Struct
from msgspec.structs import replace
from skfem import MeshTri

from bench.plates.mesh import PlateMesh
from bench.plates.opening import split
from bench.plates.pattern import CrackLine, Pattern
from bench.plates.pin_rows import end_to_end_m
from bench.plates.solver import (
    ElasticField,
    Modes,
    System,
    assemble,
    make_mesh,
    solve_modes,
)

CHILL_MODULUS_FACTOR = 1.06  # carbides for graphite: stiffer; size of the rise guessed
INNER_LIGAMENT_M = 0.010  # sound iron kept between the bay and an inner corner crack
WIDTH_SHARES = (0.25, 0.50, 0.75, 1.00)
DEPTH_SHARES = (0.10, 0.25, 0.50, 0.75)
LENGTHS_M = {
    "corner": (0.03, 0.06, 0.10),
    "inner corner": (0.03, 0.06, 0.09),
    "bolt": (0.03, 0.06, 0.10),
    "pin": (0.03, 0.06, 0.10),
    "rim": (0.01, 0.03, 0.06),
}
# Sizes a detection study asks for; half depth is there for the closed crack that rubs.
STUDY_SHARES = {"width": (0.25, 0.50, 1.00), "depth": (0.10, 0.25, 0.50)}
STUDY_LENGTHS_M = {
    "corner": (0.03,),
    "inner corner": (0.03,),
    "bolt": (0.03, 0.06),
    "pin": (0.03, 0.06),
    "rim": (0.03,),
}
# Sizes for a curve of detection against size: from what nothing finds to what everything finds.
CURVE_SHARES = {"width": (0.125, 0.25), "depth": (0.02, 0.035, 0.05, 0.10)}
CURVE_LENGTHS_M = {kind: (0.005, 0.01, 0.02, 0.03) for kind in LENGTHS_M}
NO_CRACKS: tuple[dict[str, tuple[float, ...]], dict[str, tuple[float, ...]]] = (
    dict.fromkeys(STUDY_SHARES, ()),
    dict.fromkeys(STUDY_LENGTHS_M, ()),
)
# What single scans are tried on: struts cracked through, or over a part of their depth.
SCREENED_SHARES: dict[str, tuple[float, ...]] = {"width": (1.00,), "depth": (0.10, 0.25, 0.50)}
Sizes = Literal["all", "study", "curve", "screened", "chill", "ends"]
SIZES: dict[Sizes, tuple[dict[str, tuple[float, ...]], dict[str, tuple[float, ...]]]] = {
    "all": ({"width": WIDTH_SHARES, "depth": DEPTH_SHARES}, LENGTHS_M),
    "study": (STUDY_SHARES, STUDY_LENGTHS_M),
    "curve": (CURVE_SHARES, CURVE_LENGTHS_M),
    "screened": (SCREENED_SHARES, dict.fromkeys(STUDY_LENGTHS_M, ())),
    "chill": NO_CRACKS,
    "ends": NO_CRACKS,
}


class Flaw(Struct, frozen=True):
    """One flaw.

    ``kind`` : "sound", "width", "severed", "depth", "corner", "inner corner", "bolt", "pin", "rim" or "chill".
    ``line`` : name of the crack line or chilled region ("" where there is one only). ``size`` : share of width or depth,
    or iron torn, in m.
    """

    kind: str
    line: str = ""
    size: float = 0.0

    @property
    def label(self) -> str:
        if self.kind in ("sound", "chill"):
            return "sound" if self.kind == "sound" else f"chilled {self.line or 'region'}"
        if self.kind == "severed":
            return f"severed, {self.line}"
        unit = f"{100 * self.size:.0f} %" if self.kind in ("width", "depth") else f"{1000 * self.size:.0f} mm"
        return f"{self.kind} {unit}, {self.line}"


SOUND = Flaw("sound")


class Case(Struct, frozen=True, eq=False):
    """A solved flaw: ``hinges`` are the opened sides of a part-depth crack (else empty), with their stiffness."""

    flaw: Flaw
    system: System
    modes: Modes
    hinges: np.ndarray
    hinge_stiffness_n: np.ndarray


NO_MODES = Modes(np.empty(0), np.empty((0, 0)))


def edge_crack_compliance(depth_share: float, thickness_m: float) -> float:
    """C E I of an edge crack in m: relative rotation is C times the moment.

    Ostachowicz and Krawczuk, J. Sound Vib. 150 (1991) 191-201 (coefficients from memory, checked against two other fits).
    ``depth_share`` : 0 to 0.8.
    """
    x = depth_share
    series = 0.6384 - 1.035 * x + 3.7201 * x**2 - 5.1773 * x**3 + 7.553 * x**4 - 7.332 * x**5 + 2.4909 * x**6
    return float(6.0 * np.pi * thickness_m * x**2 * series)


def field_of(pattern: Pattern, mesh: PlateMesh, chill: shapely.Geometry | None = None) -> ElasticField:
    """Stiffness and mass of every triangle of a meshed pattern, with one region hardened or none."""
    depth = np.array([p.thickness_m for p in mesh.parts])[mesh.region]
    soft = np.array([p.stiffness_factor for p in mesh.parts])[mesh.region]
    light = np.array([p.mass_factor for p in mesh.parts])[mesh.region]
    bending = soft * pattern.modulus_pa * depth**3 / (12.0 * (1.0 - pattern.poisson**2))
    if chill is not None:
        bending = bending * np.where(inside(mesh, chill), CHILL_MODULUS_FACTOR, 1.0)
    return ElasticField(bending, light * pattern.density_kg_m3 * depth, pattern.poisson)


def chill_of(pattern: Pattern, flaw: Flaw) -> shapely.Geometry:
    """The region a chilled case hardens; for any other case the pattern's own, to weigh energy in."""
    return pattern.chill_regions[flaw.line] if flaw.kind == "chill" and flaw.line else pattern.chill


def inside(mesh: PlateMesh, area: shapely.Geometry) -> np.ndarray:
    """(m,) bool: triangles whose middle lies in ``area``."""
    centre = mesh.points_m[:, mesh.triangles].mean(axis=1)
    return np.asarray(shapely.contains_xy(area, centre[0], centre[1]))


def cut_sides(mesh: PlateMesh, flaw: Flaw) -> np.ndarray:
    """(2, k) corner pairs that a flaw opens."""
    if not flaw.line or flaw.kind == "chill":
        return np.empty((2, 0), dtype=int)
    sides = mesh.cracks[flaw.line]
    ends = mesh.points_m[:, sides]
    length = np.hypot(*(ends[:, 1] - ends[:, 0]))
    far = np.cumsum(length)
    if flaw.kind == "depth":
        return sides
    reach = _reach_m(flaw, float(far[-1]))
    chosen = far <= reach + 0.0015
    if flaw.kind == "inner corner":
        chosen = (far - length > INNER_LIGAMENT_M - 0.0015) & (far <= INNER_LIGAMENT_M + flaw.size + 0.0015)
    return sides[:, chosen]


def _reach_m(flaw: Flaw, line_m: float) -> float:
    """Length from the line's start that a crack opens."""
    if flaw.kind in ("width", "severed"):
        return line_m * flaw.size
    return end_to_end_m(flaw.size) if flaw.kind == "pin" else flaw.size


def solve_case(pattern: Pattern, mesh: PlateMesh, flaw: Flaw, count: int) -> Case:
    """Modes of a pattern with a flaw; ``count`` includes the rigid motions of all loose parts."""
    opened = opened_case(pattern, mesh, flaw)
    return replace(opened, modes=solve_modes(opened.system, count))


def opened_case(pattern: Pattern, mesh: PlateMesh, flaw: Flaw) -> Case:
    """A pattern opened at a flaw and assembled, no mode solved."""
    field = field_of(pattern, mesh, chill_of(pattern, flaw) if flaw.kind == "chill" else None)
    sides = cut_sides(mesh, flaw)
    empty = np.empty((2, 0), dtype=int)
    if not sides.size:
        system = assemble(make_mesh(mesh.points_m, mesh.triangles), field)
        return Case(flaw, system, NO_MODES, empty, np.empty(0))
    n_points = mesh.points_m.shape[1]
    triangles, origin = split(mesh.triangles, n_points, sides)
    opened = make_mesh(mesh.points_m[:, origin], triangles)
    if flaw.kind != "depth":
        system = assemble(opened, field)
        return Case(flaw, system, NO_MODES, empty, np.empty(0))
    hinges = find_hinges(opened, origin, sides)
    stiffness = _part_depth(opened, hinges, field, mesh, flaw.size)
    copies = np.nonzero(np.arange(len(origin)) >= n_points)[0]
    system = assemble(opened, field, np.stack([origin[copies], copies]), hinges, stiffness)
    return Case(flaw, system, NO_MODES, hinges, stiffness)


def find_hinges(opened: MeshTri, origin: np.ndarray, sides: np.ndarray) -> np.ndarray:
    """(2, k) numbers of the two boundary sides that each opened side has become."""
    edges = np.sort(origin[opened.facets], axis=0)
    key = {tuple(sorted(s)): i for i, s in enumerate(sides.T.tolist())}
    found: list[list[int]] = [[] for _ in range(sides.shape[1])]
    for number in np.nonzero(opened.f2t[1] < 0)[0]:
        i = key.get((int(edges[0, number]), int(edges[1, number])))
        if i is not None:
            found[i].append(int(number))
    return np.array(found).T


def _part_depth(opened: MeshTri, hinges: np.ndarray, field: ElasticField, mesh: PlateMesh, share: float) -> np.ndarray:
    """(k,) rotational stiffness per length of a crack of part depth, from the iron beside each side."""
    beside = opened.f2t[0, hinges[0]]
    depth = np.array([p.thickness_m for p in mesh.parts])[mesh.region][beside]
    compliance = np.array([edge_crack_compliance(share, h) for h in depth])
    return np.asarray(field.bending_stiffness_nm[beside] / compliance)


def many_flaws(pattern: Pattern, sizes: Sizes = "all") -> list[Flaw]:
    """Every size of a set at every crack line, the sound case first and chilled regions last."""
    shares, lengths = SIZES[sizes]
    out = [SOUND]
    for line in pattern.lines:
        if line.kind == "strut":
            out += [Flaw("width" if s < 1 else "severed", line.name, s) for s in shares["width"]]
            out += [Flaw("depth", line.name, s) for s in shares["depth"]]
            continue
        kinds = ["corner", "inner corner"] if line.kind == "corner" else [line.kind]
        out += [Flaw(kind, line.name, size) for kind in kinds for size in lengths[kind] if _fits(line, size)]
    return out + [Flaw("chill", name) for name in pattern.chill_regions or [""]]


def _fits(line: CrackLine, size_m: float) -> bool:
    """Whether the line is long enough; only a row of pins grows with its holes."""
    length = np.hypot(line.end[0] - line.start[0], line.end[1] - line.start[1])
    return line.kind != "pin" or end_to_end_m(size_m) < length + 0.0015


def shipped_flaws(pattern: Pattern) -> list[Flaw]:
    """The flaws in the package: a few of each kind, on a long strut and a treble strut."""
    lines = {
        kind: [c.name for c in pattern.lines if c.kind == kind] for kind in ("strut", "corner", "bolt", "pin", "rim")
    }
    long, treble = lines["strut"][1], lines["strut"][-1]
    out = [
        SOUND,
        Flaw("width", long, 0.5),
        Flaw("width", treble, 0.25),
        Flaw("width", treble, 0.5),
    ]
    out += [
        Flaw("severed", treble, 1.0),
        Flaw("severed", long, 1.0),
        Flaw("depth", treble, 0.25),
        Flaw("depth", treble, 0.5),
    ]
    out += [
        Flaw("depth", long, 0.5),
        Flaw("inner corner", lines["corner"][0], 0.06),
        Flaw("bolt", lines["bolt"][0], 0.06),
    ]
    out += [Flaw("pin", lines["pin"][0], 0.03)] if lines["pin"] else []
    return [*out, Flaw("rim", lines["rim"][1], 0.03), Flaw("chill")]
