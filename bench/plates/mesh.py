"""Triangles that follow the drawing: every region border and every crack line is a chain of sides.

Lines are cut at their crossings, resampled, and kept fixed; points between them settle by repulsion (after the idea of
Persson and Strang, SIAM Review 46 (2004) 329-345, from memory) under repeated Delaunay triangulation.

``triangulate``   a drawing to a ``PlateMesh``
"""

from __future__ import annotations

import itertools

import numpy as np
import shapely
from msgspec import Struct
from scipy.spatial import Delaunay, cKDTree
from shapely.geometry import LineString

from bench.plates.opening import crumbs_of
from bench.plates.pattern import GRID_M, CrackLine, Pattern, Region, regions

MERGE_M = 0.0015  # points on lines closer than this become one
GROWTH = 0.28  # rise of the element size with distance from a fine line
SHARP_COS = np.cos(np.radians(25.0))


class PlateMesh(Struct, frozen=True, eq=False):
    """``points_m`` (2, n), ``triangles`` (3, m), ``region`` (m,) number in ``parts``, crack sides by line name.

    ``cracks[name]`` is a (2, k) array of corner pairs in order from the start of the line.
    """

    points_m: np.ndarray
    triangles: np.ndarray
    region: np.ndarray
    parts: list[Region]
    cracks: dict[str, np.ndarray]


class Sizes(Struct, frozen=True):
    """Wanted side lengths in m: web between lines, region borders, growth limit."""

    web_m: float = 0.020
    border_m: float = 0.012


def _chains(lines: list[LineString], keep: set[tuple[float, float]], metal: shapely.Geometry) -> list[np.ndarray]:
    noded = shapely.unary_union(lines, grid_size=GRID_M)
    middles = shapely.line_interpolate_point(noded.geoms, 0.5, normalized=True)
    inside = shapely.distance(metal, middles) < 2 * GRID_M  # crack lines may start a little outside the iron
    merged = shapely.line_merge(shapely.multilinestrings(np.array(noded.geoms)[inside]))
    pieces = merged.geoms if hasattr(merged, "geoms") else [merged]
    out = []
    for piece in pieces:
        xy = np.asarray(piece.coords)
        step = np.diff(xy, axis=0)
        step /= np.hypot(step[:, 0], step[:, 1])[:, None]
        bend = np.sum(step[1:] * step[:-1], axis=1) < SHARP_COS
        marked = np.array([tuple(np.round(p, 4)) in keep for p in xy[1:-1]], dtype=bool)
        cuts = np.concatenate([[0], 1 + np.nonzero(bend | marked)[0], [len(xy) - 1]])
        out += [xy[a : b + 1] for a, b in itertools.pairwise(cuts)]
    return out


def _resample(chain: np.ndarray, step_m: float) -> np.ndarray:
    line = LineString(chain)
    count = max(1, round(line.length / step_m))
    return np.array([line.interpolate(s, normalized=True).coords[0] for s in np.linspace(0, 1, count + 1)])


def _fixed_points(
    parts: list[Region], metal: shapely.Geometry, cracks: list[CrackLine], size: Sizes
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points on lines, the sides between them, and each point's own side length."""
    crack_lines = [shapely.set_precision(LineString([c.start, c.end]), GRID_M) for c in cracks]
    borders = [part.area.boundary for part in parts]
    ends = {tuple(np.round(p, 4)) for line in crack_lines for p in line.coords}
    tree = shapely.STRtree(crack_lines) if crack_lines else None
    points, sides, near, loose = [], [], [], []
    start = 0
    for chain in _chains(borders + crack_lines, ends, metal):
        middle = shapely.Point(LineString(chain).interpolate(0.5, normalized=True))
        hit = []
        if tree is not None:
            hit = [i for i in tree.query(middle.buffer(1e-3)) if crack_lines[i].distance(middle) < 2e-4]
        step = cracks[hit[0]].step_m if hit else size.border_m
        xy = _resample(chain, step)
        points.append(xy)
        near.append(np.full(len(xy), min(step, float(np.hypot(*(xy[1] - xy[0]))))))
        loose.append(np.full(len(xy), not hit))
        sides += [(start + i, start + i + 1) for i in range(len(xy) - 1)]
        start += len(xy)
    return _merge(
        np.concatenate(points),
        np.array(sides),
        np.concatenate(near),
        np.concatenate(loose),
    )


def _merge(
    points: np.ndarray, sides: np.ndarray, near: np.ndarray, loose: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """One point for all within MERGE_M; points of crack lines stay where they are."""
    order = np.argsort(loose, kind="stable")
    target = np.arange(len(points))
    tree = cKDTree(points)
    for i in order:
        if target[i] == i:
            group = np.array(tree.query_ball_point(points[i], MERGE_M))
            free = group[
                (target[group] == group) & (loose[group] | (np.hypot(*(points[group] - points[i]).T) < MERGE_M / 2))
            ]
            target[free] = i
    first, back = np.unique(target, return_inverse=True)
    size = np.full(len(first), np.inf)
    np.minimum.at(size, back, np.maximum(near, 1.5 * MERGE_M))
    sides = _distinct(back[sides])
    return points[first], sides[sides[:, 0] != sides[:, 1]], size


def _distinct(pairs: np.ndarray) -> np.ndarray:
    """(k, 2) of (n, 2) pairs of numbers that are not negative: each once, the smaller first, in order."""
    low, high = np.sort(pairs, axis=1).T.astype(np.int64)
    base = int(high.max()) + 1
    return np.column_stack(np.divmod(np.unique(low * base + high), base))


def _size_at(points: np.ndarray, fixed: cKDTree, near: np.ndarray, web_m: float) -> np.ndarray:
    distance, index = fixed.query(points, k=8)
    return np.asarray(np.minimum(web_m, (near[index] + GROWTH * distance).min(axis=1)))


def _seed(metal: shapely.Geometry, fixed: np.ndarray, near: np.ndarray, size: Sizes) -> np.ndarray:
    """First free points: a fine lattice thinned at random to the wanted density."""
    rng = np.random.default_rng(7)
    x0, y0, x1, y1 = metal.bounds
    fine = max(0.003, float(near.min()) * 0.8)
    x, y = np.meshgrid(np.arange(x0, x1, fine), np.arange(y0, y1, fine * 0.866))
    x[1::2] += fine / 2
    lattice = np.column_stack([x.ravel(), y.ravel()])
    lattice = lattice[shapely.contains_xy(metal, lattice[:, 0], lattice[:, 1])]
    wanted = _size_at(lattice, cKDTree(fixed), near, size.web_m)
    lattice = lattice[rng.random(len(lattice)) < (fine / wanted) ** 2]
    return _clear(lattice, fixed, near, size)


def _clear(free: np.ndarray, fixed: np.ndarray, near: np.ndarray, size: Sizes) -> np.ndarray:
    """Drop free points inside the circle over a fixed side, so that Delaunay keeps the side."""
    distance, index = cKDTree(fixed).query(free)
    return np.asarray(free[distance > 0.62 * near[index]])


def _inside(metal: shapely.Geometry, points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    centre = points[triangles].mean(axis=1)
    a, b = (
        points[triangles[:, 1]] - points[triangles[:, 0]],
        points[triangles[:, 2]] - points[triangles[:, 0]],
    )
    c = b - a
    longest = np.max([np.sum(side**2, axis=1) for side in (a, b, c)], axis=0)
    solid = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) > 0.01 * longest  # not the slivers along a straight edge
    return np.asarray(triangles[solid & shapely.contains_xy(metal, centre[:, 0], centre[:, 1])])


def _settle(
    metal: shapely.Geometry,
    fixed: np.ndarray,
    near: np.ndarray,
    size: Sizes,
    rounds: int,
) -> np.ndarray:
    free, count, tree = _seed(metal, fixed, near, size), len(fixed), cKDTree(fixed)
    for turn in range(rounds):
        points = np.concatenate([fixed, free])
        tri = _inside(metal, points, Delaunay(points).simplices)
        edges = _distinct(tri[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2))
        bar = points[edges[:, 1]] - points[edges[:, 0]]
        length = np.hypot(bar[:, 0], bar[:, 1])
        wanted = _size_at(points[edges].mean(axis=1), tree, near, size.web_m)
        wanted *= 1.15 * np.sqrt((length**2).sum() / (wanted**2).sum())
        force = np.maximum(wanted - length, 0.0) / length
        push = np.zeros_like(points)
        np.add.at(push, edges[:, 1], force[:, None] * bar)
        np.add.at(push, edges[:, 0], -force[:, None] * bar)
        free = free + 0.2 * push[count:]
        free = free[shapely.contains_xy(metal, free[:, 0], free[:, 1])]
        if turn % 10 == 9 or turn == rounds - 1:
            free = _clear(free, fixed, near, size)
    return np.concatenate([fixed, free])


def _bisect_missing(fixed: np.ndarray, sides: np.ndarray, near: np.ndarray, free: np.ndarray) -> tuple[np.ndarray, ...]:
    """Halve fixed sides that Delaunay does not contain, until it contains them all."""
    for _ in range(12):
        tri = Delaunay(np.concatenate([fixed, free])).simplices
        have = np.sort(tri[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
        have_key = set((have[:, 0].astype(np.int64) * 10**7 + have[:, 1]).tolist())
        missing = np.array([a * 10**7 + b not in have_key for a, b in sides.tolist()])
        if not missing.any():
            return fixed, sides, near, free
        a, b = sides[missing].T
        new = np.arange(len(fixed), len(fixed) + len(a))
        fixed = np.concatenate([fixed, (fixed[a] + fixed[b]) / 2])
        near = np.concatenate([near, np.minimum(near[a], near[b]) / 2])
        sides = np.concatenate([sides[~missing], np.column_stack([a, new]), np.column_stack([b, new])])
        sides = np.sort(sides, axis=1)
    raise ValueError("region borders could not be kept in the triangulation: two lines lie too close together")


def triangulate(pattern: Pattern, size: Sizes | None = None, rounds: int = 40) -> PlateMesh:
    """Mesh of a pattern with all its crack lines embedded (closed)."""
    size = size or Sizes()
    parts = regions(pattern)
    metal = pattern.metal()
    fixed, sides, near = _fixed_points(parts, metal, pattern.lines, size)
    points = _settle(metal, fixed, near, size, rounds)
    fixed, sides, near, free = _bisect_missing(fixed, sides, near, points[len(fixed) :])
    points = np.concatenate([fixed, free])
    points, tri = _used(points, _inside(metal, points, Delaunay(points).simplices))
    crumbs = crumbs_of(points, tri, [_sides_on(line, points, tri) for line in pattern.lines])
    points, tri = _used(points, tri[~crumbs])
    centre = points[tri].mean(axis=1)
    region = np.full(len(tri), len(parts) - 1)
    for number, part in enumerate(parts):
        region[shapely.contains_xy(part.area, centre[:, 0], centre[:, 1])] = number
    cracks = {line.name: _sides_on(line, points, tri) for line in pattern.lines}
    return PlateMesh(points.T.copy(), tri.T.copy(), region, parts, cracks)


def _used(points: np.ndarray, tri: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points that triangles use, and the triangles renumbered."""
    used, tri = np.unique(tri, return_inverse=True)
    return points[used], tri.reshape(-1, 3)


def _sides_on(line: CrackLine, points: np.ndarray, tri: np.ndarray) -> np.ndarray:
    a, b = np.array(line.start), np.array(line.end)
    along = (b - a) / np.hypot(*(b - a))
    offset = np.abs((points - a) @ np.array([-along[1], along[0]]))
    place = (points - a) @ along
    on = (offset < 2e-4) & (place > -2e-4) & (place < np.hypot(*(b - a)) + 2e-4)
    edges = _distinct(tri[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2))
    edges = edges[on[edges].all(axis=1)]
    order = np.argsort(place[edges].mean(axis=1))
    edges = edges[order]
    turned = place[edges[:, 0]] > place[edges[:, 1]]
    edges[turned] = edges[turned][:, ::-1]
    return np.asarray(edges.T)
