"""Tables of plates that are to be screwed into a piano: besides the free modes, how the iron gives under each thing that holds it.

A spring as stiff as a plate screw bends the iron where it pulls. The lowest modes alone do not hold that local give, so each case is solved once for a force at every fixing and these
shapes are added to the free modes (component mode synthesis with attachment modes, textbook; Craig and Chang 1977, from memory). In the basis of both any stiffness of any screw, none included, is a small
dense problem (`bench.simulate.in_piano`). Modes beyond the counted ones are no real modes of the free plate; together they carry the give.

``fixings_of``      where the plate is held: screws, nose bolts, pin block, and where strings pull
``mounted_flaws``   the flaws looked for in a piano
``mounted_arrays``  the arrays of `bench.plates.tables` for them, with ``fixing_shape`` (cases, modes, fixings), float32
``held_direct``     frequencies with given springs solved on the whole mesh, to check the small problem with
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
from msgspec.structs import asdict, replace
from scipy import linalg, sparse
from scipy.sparse import linalg as splinalg
from shapely.geometry import LineString, Point

from bench.plates.cases import SOUND, Case, Flaw, opened_case
from bench.plates.lanczos import lowest_modes
from bench.plates.layout import inward_at, on_edge
from bench.plates.mesh import PlateMesh
from bench.plates.pattern import Pattern, Spot
from bench.plates.solver import Modes, System
from bench.plates.tables import case_arrays, table_meta

SCREWS = 16  # 12 to 20 in a piano (common practice, no source)
EDGE_M = 0.038
BESIDE_HOLE_M = 0.016
NOSE_BOLTS = 3
PIN_BLOCK = 6
SHIFT_HZ = 60.0
STIFF = ("screw", "nose bolt", "pin block")  # what bends the iron where it holds


def fixings_of(pattern: Pattern) -> list[Spot]:
    """Screws around the edge, nose bolts on struts, the pin block along the bar, and strings at bar and hitch web."""
    struts = sorted(pattern.struts, key=lambda s: s.start[0])
    nose = [struts[int((i + 0.5) * len(struts) / NOSE_BOLTS)] for i in range(NOSE_BOLTS)]
    x0, y0, x1, y1 = pattern.bars[0][1].bounds
    line = [(x0 + share * (x1 - x0), y0 + 0.4 * (y1 - y0)) for share in np.linspace(0.08, 0.92, PIN_BLOCK)]
    bar = [(x0 + share * (x1 - x0), y0 + 0.6 * (y1 - y0)) for share in (0.2, 0.4, 0.6, 0.8)]
    web = [s for s in pattern.stations if "web" in s.description]
    hitch = [(s.x_m, s.y_m) for s in web[:: max(1, len(web) // 4)][:4]]
    at = {
        "screw": _screws(pattern),
        "nose bolt": [s.at(0.30) for s in nose],
        "pin block": line,
        "string": [*bar, *hitch],
    }
    return [Spot(f"{kind} {i}", *xy, kind) for kind, places in at.items() for i, xy in enumerate(places, 1)]


def _screws(pattern: Pattern) -> list[tuple[float, float]]:
    """Beside the drawn holes, and between them, each as far as can be from all others and clear of the struts' ends."""
    struts = [LineString([s.start, s.end]) for s in pattern.struts]
    found = []
    for hole in pattern.bolts:
        x, y = np.array(hole) + BESIDE_HOLE_M * inward_at(pattern.outline, hole)
        found.append((float(x), float(y)))
    around = [on_edge(pattern, float(a), EDGE_M) for a in np.linspace(0, 1, 160, endpoint=False)]
    around = [p for p in around if min(s.distance(Point(p)) for s in struts) > 0.03]
    while len(found) < SCREWS:
        apart = [min(np.hypot(p[0] - q[0], p[1] - q[1]) for q in found) for p in around]
        found.append(around[int(np.argmax(apart))])
    return found


def mounted_flaws(pattern: Pattern) -> list[Flaw]:
    """At every crack line one size: strut severed and half its depth, corner 60 mm, edge 30 mm."""
    wanted = {
        "strut": [("severed", 1.0), ("depth", 0.50)],
        "corner": [("corner", 0.060)],
        "rim": [("rim", 0.030)],
    }
    return [SOUND, *(Flaw(k, line.name, size) for line in pattern.lines for k, size in wanted.get(line.kind, ()))]


def point_rows(system: System, points_m: np.ndarray) -> sparse.csr_matrix:
    """(points, unknowns) that give the deflection at the points."""
    mesh, basis = system.mesh, system.basis
    cells = mesh.element_finder()(*points_m)
    local = basis.mapping.invF(points_m[:, :, None], tind=cells)
    rows, columns, values = [], [], []
    for i in range(6):
        shape = basis.elem.gbasis(basis.mapping, local, i, tind=cells)[0]
        rows.append(np.arange(points_m.shape[1]))
        columns.append(basis.element_dofs[i, cells])
        values.append(np.asarray(shape)[:, 0])
    flat = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    out = sparse.coo_matrix(flat, shape=(points_m.shape[1], basis.N)).tocsr()
    return out if system.tie is None else out @ system.tie


def _factor(system: System, sigma: float) -> Any:
    return splinalg.splu(
        (system.stiffness - sigma * system.mass).tocsc(),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )


def _with_give(case: Case, count: int, points_m: np.ndarray) -> Modes:
    """``count`` free modes, and what else the iron does under a force at each of the points, as further modes."""
    system, sigma = case.system, -((2 * np.pi * SHIFT_HZ) ** 2)
    factor = _factor(system, sigma)
    values, vectors = lowest_modes(factor.solve, system.mass, count, sigma)
    give = factor.solve(np.asfortranarray(point_rows(system, points_m).T.toarray()))
    give = give - vectors @ (vectors.T @ (system.mass @ give))
    stiff, heavy = give.T @ (system.stiffness @ give), give.T @ (system.mass @ give)
    scale = 1 / np.sqrt(np.diag(heavy))
    beyond, mix = linalg.eigh(stiff * np.outer(scale, scale), heavy * np.outer(scale, scale))
    every = np.concatenate([np.maximum(values, 0.0), beyond])
    shapes = np.concatenate([vectors, (give * scale) @ mix], axis=1)
    return Modes(np.sqrt(every) / (2 * np.pi), system.free_to_all(shapes))


def _xy(spots: list[Spot]) -> np.ndarray:
    return np.array([[s.x_m, s.y_m] for s in spots]).T


def mounted_arrays(
    pattern: Pattern, mesh: PlateMesh, flaws: list[Flaw], count: int, say: Any = None
) -> dict[str, np.ndarray]:
    """All flaws solved and stacked, as bench.plates.tables.solve_pattern does for the free plate."""
    fixings = fixings_of(pattern)
    stiff = _xy([f for f in fixings if f.description in STIFF])
    rows = []
    for flaw in flaws:
        case = opened_case(pattern, mesh, flaw)
        case = replace(case, modes=_with_give(case, count, stiff))
        at = point_rows(replace(case.system, tie=None), _xy(fixings)) @ case.modes.vectors
        rows.append(case_arrays(pattern, mesh, case) | {"fixing_shape": at.T.astype(np.float32)})
        if say is not None:
            say(f"{pattern.name}: {flaw.label}")
    arrays = {key: np.stack([row[key] for row in rows]) for key in rows[0]}
    meta = table_meta(pattern, mesh, flaws) | {"fixings": [asdict(f) for f in fixings], "free_modes": count}
    arrays["outline"] = np.asarray(pattern.outline.exterior.coords, dtype=np.float32)
    arrays["meta"] = np.array(json.dumps(meta))
    return arrays


def held_direct(pattern: Pattern, mesh: PlateMesh, flaw: Flaw, stiffness_n_m: np.ndarray, count: int) -> np.ndarray:
    """(count,) Hz of the plate on springs to the ground at every fixing, on the whole mesh."""
    system = opened_case(pattern, mesh, flaw).system
    rows = point_rows(system, _xy(fixings_of(pattern)))
    held = replace(system, stiffness=(system.stiffness + rows.T @ sparse.diags(stiffness_n_m) @ rows).tocsc())
    sigma = -((2 * np.pi * SHIFT_HZ) ** 2)
    values, _ = lowest_modes(_factor(held, sigma).solve, held.mass, count, sigma)
    return np.asarray(np.sqrt(values) / (2 * np.pi))
