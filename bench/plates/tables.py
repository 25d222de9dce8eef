"""Modal tables: what a solved pattern leaves behind, small enough to ship.

Per pattern one ``.npz`` file with, for every case (sound first) and mode (three rigid ones first, at 0 Hz):

``frequency_hz``      (cases, modes) float64
``station_shape``     (cases, modes, 3, stations) float16: deflection 1/sqrt(kg), slopes along x and y 1/(m sqrt(kg))
``support_shape``     (cases, modes, supports, 5) deflection at each support and 15 and 30 mm to both sides along the edge
``clamp_shape``, ``pickup_shape``   (cases, modes, places) deflection
``microphone``        (cases, modes, microphones, 2) pressure per modal acceleration, real and imaginary, Pa s2 sqrt(kg)/m
``strain_share``, ``kinetic_share`` (cases, modes, patches) share of the mode's energy in a patch of the plate
``chill_share``       (cases, modes) share of strain energy in the region that the chilled case hardens
``hinge_share``       (cases, modes) share of strain energy in the springs of a part-depth crack
``hinge_rotation``    (cases, modes, 2) rotation across the crack, two halves of its width, rad/(m sqrt(kg))
``hinge_stiffness``   (cases, 2) N m/rad of each half; 0 where there is no part-depth crack
``meta``              JSON: names, places, flaws, patches, version

Shapes are half precision: 5e-4 relative, far below what hammer scatter does, and consistent, because the list of true
modes is computed from the same numbers.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from msgspec.structs import asdict
from shapely.geometry import Point, Polygon

from bench.plates.cases import Case, Flaw, chill_of, inside, solve_case
from bench.plates.mesh import PlateMesh
from bench.plates.pattern import Pattern, Spot
from bench.plates.solver import (
    element_deflection,
    energy_shares,
    hinge_lengths_m,
    hinge_rows,
    shape_at_points,
)

VERSION = "1"
RIGID = 3
SUPPORT_OFFSETS_M = (-0.030, -0.015, 0.0, 0.015, 0.030)
AIR_KG_M3 = 1.204
SOUND_SPEED_M_S = 343.2


def patch_labels(pattern: Pattern, mesh: PlateMesh) -> tuple[np.ndarray, list[str]]:
    """(m,) patch number of each triangle and the patches' names: struts whole, other regions cut by place."""
    centre = mesh.points_m[:, mesh.triangles].mean(axis=1)
    x0, y0, x1, y1 = pattern.outline.bounds
    right, far = centre[0] > (x0 + x1) / 2, centre[1] > (y0 + y1) / 2
    words = np.empty(len(mesh.region), dtype=object)
    for number, part in enumerate(mesh.parts):
        here = mesh.region == number
        side = np.where(right[here], "treble", "bass")
        if part.name.startswith("strut"):
            words[here] = part.name
        elif part.name == "web":
            words[here] = [f"web {s} {'far' if b else 'near'}" for s, b in zip(side, far[here], strict=True)]
        else:
            words[here] = [f"{part.name} {s}" for s in side]
    names, label = np.unique(words.astype(str), return_inverse=True)
    return label, [str(n) for n in names]


def _along_edge(pattern: Pattern, spot: Spot) -> np.ndarray:
    """(2, 5) points at the support and to both sides, parallel to the outline."""
    inset = -Point(spot.x_m, spot.y_m).distance(pattern.outline.exterior)
    ring = pattern.outline.buffer(inset).exterior
    place = ring.project(Point(spot.x_m, spot.y_m))
    points = [ring.interpolate((place + d) % ring.length).coords[0] for d in SUPPORT_OFFSETS_M]
    return np.array(points).T


def _spots(spots: list[Spot]) -> np.ndarray:
    return np.array([[s.x_m, s.y_m] for s in spots]).T


def microphone_coupling(case: Case, microphones: list[tuple[str, float, float, float]]) -> np.ndarray:
    """(modes, microphones, 2): rough Rayleigh sum, plate in a rigid baffle, at each mode's own frequency.

    A bare plate has no baffle: low modes are too loud here. Not to be trusted in level below about 700 Hz.
    """
    basis = case.system.basis
    area = basis.dx.sum(axis=1)
    centre = basis.mesh.p[:, basis.mesh.t].mean(axis=1)
    volume = area[:, None] * element_deflection(case.system, case.modes)
    wave = 2.0 * np.pi * case.modes.frequency_hz / SOUND_SPEED_M_S
    out = np.empty((len(wave), len(microphones), 2))
    for number, (_, x, y, height) in enumerate(microphones):
        distance = np.sqrt((centre[0] - x) ** 2 + (centre[1] - y) ** 2 + height**2)
        green = np.exp(-1j * np.outer(distance, wave)) / distance[:, None]
        pressure = AIR_KG_M3 / (2.0 * np.pi) * (green * volume).sum(axis=0)
        out[:, number, 0], out[:, number, 1] = pressure.real, pressure.imag
    return out


def _hinge_arrays(case: Case) -> dict[str, np.ndarray]:
    count = len(case.modes.frequency_hz)
    if not case.hinges.size:
        return {
            "hinge_share": np.zeros(count),
            "hinge_rotation": np.zeros((count, 2)),
            "hinge_stiffness": np.zeros(2),
        }
    basis = case.system.basis
    rotation = hinge_rows(basis, case.hinges) @ case.modes.vectors
    length = hinge_lengths_m(basis.mesh, case.hinges)
    stiffness = case.hinge_stiffness_n * length
    energy = (stiffness[:, None] * rotation**2).sum(axis=0)
    share = np.where(case.modes.frequency_hz > 1.0, energy / np.maximum(_omega2(case), 1.0), 0.0)
    halves = np.array_split(np.arange(len(length)), 2)
    mean = np.stack([np.average(rotation[h], axis=0, weights=length[h]) for h in halves], axis=1)
    return {
        "hinge_share": share,
        "hinge_rotation": mean,
        "hinge_stiffness": np.array([stiffness[h].sum() for h in halves]),
    }


def _omega2(case: Case) -> np.ndarray:
    return np.asarray((2.0 * np.pi * case.modes.frequency_hz) ** 2)


def case_arrays(pattern: Pattern, mesh: PlateMesh, case: Case) -> dict[str, np.ndarray]:
    """All arrays of one case, as described in the module's head."""
    label, names = patch_labels(pattern, mesh)  # triangles keep their order when the mesh is opened
    chill = inside(mesh, chill_of(pattern, case.flaw))
    count = len(names)
    strain, kinetic = energy_shares(case.system, case.modes, label + count * chill, 2 * count)
    chill_share = strain[count:].sum(axis=0)
    strain, kinetic = strain[:count] + strain[count:], kinetic[:count] + kinetic[count:]
    supports = np.concatenate([_along_edge(pattern, s) for s in pattern.pads], axis=1)
    at = {name: shape_at_points(case.system, case.modes, _spots(spots)) for name, spots in _places(pattern)}
    support = shape_at_points(case.system, case.modes, supports)[0]
    frequency = case.modes.frequency_hz.copy()
    frequency[:RIGID] = 0.0
    out = {
        "frequency_hz": frequency,
        "station_shape": at["station"].transpose(2, 0, 1),
        "support_shape": support.reshape(len(pattern.pads), len(SUPPORT_OFFSETS_M), -1).transpose(2, 0, 1),
        "clamp_shape": at["clamp"][0].T,
        "pickup_shape": at["pickup"][0].T,
        "microphone": microphone_coupling(case, pattern.microphones),
        "strain_share": strain.T,
        "kinetic_share": kinetic.T,
        "chill_share": chill_share,
    }
    out |= _hinge_arrays(case)
    return {k: v if k == "frequency_hz" else v.astype(np.float16) for k, v in out.items() if k != "hinge_stiffness"} | {
        "hinge_stiffness": out["hinge_stiffness"]
    }


def _places(pattern: Pattern) -> list[tuple[str, list[Spot]]]:
    return [
        ("station", pattern.stations),
        ("clamp", pattern.clamps),
        ("pickup", pattern.pickups),
    ]


def solve_pattern(
    pattern: Pattern, mesh: PlateMesh, flaws: list[Flaw], count: int, say: Any = None
) -> dict[str, np.ndarray]:
    """Solve all flaws and stack their arrays; ``count`` modes each. A case that breaks the plate in two is refused."""
    rows: list[dict[str, np.ndarray]] = []
    for flaw in flaws:
        case = solve_case(pattern, mesh, flaw, count)
        if case.modes.frequency_hz[RIGID] < 1.0:
            raise ValueError(f"{pattern.name}: {flaw.label} leaves a loose piece")
        rows.append(case_arrays(pattern, mesh, case))
        if say is not None:
            say(f"{pattern.name}: {flaw.label}")
    arrays = {key: np.stack([row[key] for row in rows]) for key in rows[0]}
    arrays["outline"] = np.asarray(pattern.outline.exterior.coords, dtype=np.float32)
    arrays["meta"] = np.array(json.dumps(table_meta(pattern, mesh, flaws)))
    return arrays


def plate_mass_kg(pattern: Pattern, mesh: PlateMesh) -> float:
    """Mass of the meshed iron."""
    a, b, c = mesh.points_m[:, mesh.triangles].transpose(1, 0, 2)
    area = np.abs((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])) / 2
    depth = np.array([p.thickness_m * p.mass_factor for p in mesh.parts])[mesh.region]
    return float(pattern.density_kg_m3 * (area * depth).sum())


def table_meta(pattern: Pattern, mesh: PlateMesh, flaws: list[Flaw]) -> dict[str, Any]:
    label, names = patch_labels(pattern, mesh)
    centre = {line.name: [(a + b) / 2 for a, b in zip(line.start, line.end, strict=True)] for line in pattern.lines}
    metal = pattern.metal()
    iron = {f.line: metal.intersection(chill_of(pattern, f)) for f in flaws if f.kind == "chill"}
    centre |= {name: list(area.centroid.coords[0]) for name, area in iron.items() if name}
    depth = np.array([p.thickness_m for p in mesh.parts])[mesh.region]
    return {
        "version": VERSION,
        "pattern": pattern.name,
        "title": pattern.title,
        "mass_kg": plate_mass_kg(pattern, mesh),
        "stations": [asdict(s) for s in pattern.stations],
        "supports": [asdict(s) for s in pattern.pads],
        "support_offsets_m": list(SUPPORT_OFFSETS_M),
        "clamps": [asdict(s) for s in pattern.clamps],
        "pickups": [asdict(s) for s in pattern.pickups],
        "microphones": [dict(zip(("name", "x_m", "y_m", "height_m"), m, strict=True)) for m in pattern.microphones],
        "patches": names,
        "patch_thickness_m": [float(np.median(depth[label == i])) for i in range(len(names))],
        "struts": [asdict(s) for s in pattern.struts],
        "bays": _rings(pattern),
        "bolts": [[round(x, 4), round(y, 4)] for x, y in pattern.bolts],
        "chill_area_share": round(float(metal.intersection(pattern.chill).area / metal.area), 3),
        "cases": [
            {
                "label": f.label,
                "kind": f.kind,
                "line": f.line,
                "size": f.size,
                "place_m": centre.get(f.line),
            }
            | ({"area_share": round(float(iron[f.line].area / metal.area), 3)} if f.kind == "chill" else {})
            for f in flaws
        ],
    }


def _rings(pattern: Pattern) -> list[list[list[float]]]:
    """Edges of the bays, for drawing."""
    rings = [Polygon(r).simplify(1e-3) for r in pattern.metal().interiors]
    return [np.round(np.asarray(r.exterior.coords), 3).tolist() for r in rings if r.area > 1e-3]


def write_table(path: Path, arrays: dict[str, np.ndarray]) -> None:
    """Write one pattern's arrays, compressed."""
    path.parent.mkdir(parents=True, exist_ok=True)
    np.savez_compressed(path, **arrays)  # type: ignore[arg-type]
