"""Open a mesh along chosen sides.

``split``       double the corners on the sides where the triangles around fall apart
``crumbs_of``   triangles that an opened line would leave hanging loose
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np
from scipy import sparse
from scipy.sparse.csgraph import connected_components

CRUMB_M2 = 3e-6  # smaller than any triangle wanted


def split(triangles: np.ndarray, n_points: int, sides: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Open the mesh along ``sides`` (2, k): corners on them are doubled where the triangles around fall apart.

    Returns new (3, m) triangles and the (n_new,) original number of each corner; the first ``n_points`` are unchanged.
    """
    tri = triangles.T.copy()
    cut = {tuple(sorted(s)) for s in sides.T.tolist()}
    origin = list(range(n_points))
    for vertex in np.unique(sides):
        around = np.nonzero((tri == vertex).any(axis=1))[0]
        for group in _fans(tri, around, vertex, cut)[1:]:
            block = tri[group]
            block[block == vertex] = len(origin)
            tri[group] = block
            origin.append(origin[vertex])
    return tri.T.copy(), np.array(origin)


def _fans(tri: np.ndarray, around: np.ndarray, vertex: int, cut: set[tuple[int, ...]]) -> list[list[int]]:
    """Triangles around a corner, grouped by the sides they share that are not cut (sides named by original corners)."""
    shared: dict[int, list[int]] = defaultdict(list)
    for t in around:
        for other in tri[t]:
            if other != vertex:
                shared[int(other)].append(int(t))
    todo, groups = set(map(int, around)), []
    while todo:
        stack, group = [min(todo)], []
        todo.discard(stack[0])
        while stack:
            t = stack.pop()
            group.append(t)
            for other in tri[t]:
                if other == vertex or tuple(sorted((int(vertex), int(other)))) in cut:
                    continue
                for n in shared[int(other)]:
                    if n in todo:
                        todo.discard(n)
                        stack.append(n)
        groups.append(sorted(group))
    return groups


def crumbs_of(points: np.ndarray, tri: np.ndarray, lines: list[np.ndarray]) -> np.ndarray:
    """(m,) bool: triangles that one of ``lines`` (2, k), opened in full, would leave hanging loose beside a hole."""
    a, b, c = points[tri].transpose(1, 0, 2)
    area = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2
    loose = np.zeros(len(tri), dtype=bool)
    for sides in lines:
        opened, _ = split(tri.T, len(points), sides)
        low, high = np.sort(opened.T[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1).T.astype(np.int64)
        _, side = np.unique(low * (1 + int(high.max())) + high, return_inverse=True)
        rows = np.repeat(np.arange(len(tri)), 3)
        share = sparse.coo_matrix((np.ones(len(rows)), (rows, side.ravel()))).tocsr()
        _, piece = connected_components(share @ share.T)
        loose |= np.bincount(piece, area)[piece] < CRUMB_M2
    return loose
