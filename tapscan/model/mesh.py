"""Triangles that follow the borders of an outline's regions, coarse on purpose.

    triangles_of(iron)   Triangles: points, corners, and each triangle's region

Borders are cut at their crossings and resampled; a lattice fills what lies between; Delaunay joins them, and triangles outside the iron
are dropped. Where a side of a border is missed the border moves by less than an element, which a rough model bears.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from tapscan.errors import BadLayout
from tapscan.model.iron import GRID_M, Iron
from tapscan.records import FloatArray

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

STEP_M = 0.028  # sides
CLEAR = 0.7  # of a side: lattice points keep this far from the borders
MERGE_M = 0.006  # border points closer than this become one
FLATTEST = 0.02  # twice the area over the square of the longest side


class Triangles(Struct, frozen=True, eq=False):
    """`points_m` (n, 2), `corners` (m, 3), `region` (m,) number in Iron.regions."""

    points_m: FloatArray
    corners: NDArray[np.intp]
    region: NDArray[np.intp]


def triangles_of(iron: Iron, step_m: float = STEP_M) -> Triangles:
    """Raises BadLayout where hardly any iron is covered."""
    import shapely
    from scipy.spatial import Delaunay

    fixed = _border_points(iron, step_m)
    points = np.vstack([fixed, _lattice(iron.whole, fixed, step_m)])
    corners = Delaunay(points).simplices
    middle = points[corners].mean(axis=1)
    kept = _solid(points, corners) & shapely.contains_xy(iron.whole, middle[:, 0], middle[:, 1])
    corners = _one_piece(corners[kept], len(points))
    used, corners = np.unique(corners, return_inverse=True)
    points, corners = points[used], corners.reshape(-1, 3)
    if len(corners) < 50 or abs(_areas(points, corners).sum() / iron.whole.area - 1) > 0.1:
        raise BadLayout(
            "no model can be made of this outline: look for crossing lines or parts thinner than a few millimetres"
        )
    middle = points[corners].mean(axis=1)
    region = np.full(len(corners), len(iron.regions) - 1)
    for number, part in enumerate(iron.regions):
        region[shapely.contains_xy(part.area, middle[:, 0], middle[:, 1])] = number
    return Triangles(points, corners, region)


def _border_points(iron: Iron, step_m: float) -> FloatArray:
    """Corners and evenly spread points of all borders; those too close together become one."""
    import shapely
    from scipy.spatial import cKDTree

    noded = shapely.line_merge(shapely.unary_union([r.area.boundary for r in iron.regions], grid_size=GRID_M))
    found = []
    for line in shapely.get_parts(noded):
        plain = line.simplify(0.002)
        for a, b in zip(plain.coords[:-1], plain.coords[1:], strict=True):
            count = max(1, round(float(np.hypot(b[0] - a[0], b[1] - a[1])) / step_m))
            found.append(np.linspace(a, b, count + 1))
    points = np.unique(np.round(np.vstack(found), 5), axis=0)
    tree, keep = cKDTree(points), np.ones(len(points), dtype=bool)
    for i, others in enumerate(tree.query_ball_point(points, MERGE_M)):
        if keep[i]:
            keep[[j for j in others if j > i]] = False
    return np.asarray(points[keep])


def _lattice(whole: BaseGeometry, fixed: FloatArray, step_m: float) -> FloatArray:
    import shapely
    from scipy.spatial import cKDTree

    x0, y0, x1, y1 = whole.bounds
    x, y = np.meshgrid(np.arange(x0, x1, step_m), np.arange(y0, y1, step_m * 0.866))
    x[1::2] += step_m / 2
    points = np.column_stack([x.ravel(), y.ravel()])
    far, _ = cKDTree(fixed).query(points)
    return np.asarray(points[shapely.contains_xy(whole, points[:, 0], points[:, 1]) & (far > CLEAR * step_m)])


def _areas(points: FloatArray, corners: NDArray[np.intp]) -> FloatArray:
    a, b, c = points[corners].transpose(1, 0, 2)
    return np.asarray(np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2)


def _solid(points: FloatArray, corners: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Not the slivers along a straight border."""
    a, b, c = points[corners].transpose(1, 0, 2)
    longest = np.max([np.sum(side**2, axis=1) for side in (b - a, c - b, a - c)], axis=0)
    return np.asarray(2 * _areas(points, corners) > FLATTEST * longest)


def _one_piece(corners: NDArray[np.intp], count: int) -> NDArray[np.intp]:
    """Triangles that hang together by sides: the largest such piece."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    sides = np.sort(corners[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    _, number = np.unique(sides, axis=0, return_inverse=True)
    rows = np.repeat(np.arange(len(corners)), 3)
    shared = coo_matrix((np.ones(len(rows)), (rows, number.ravel()))).tocsr()
    _, piece = connected_components(shared @ shared.T)
    return np.asarray(corners[piece == np.bincount(piece).argmax()])
