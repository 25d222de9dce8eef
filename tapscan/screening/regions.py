"""Which places of a plate may share one piece of iron.

    areas_of(positions)    each place alone, each with its neighbours, and the plate's ends
    positions_of(layout, stations)   where they lie, as far as the layout tells

An area is a row of True and False over the places. Chilled iron takes up a stretch of a casting, not places picked here and there, so
places that lie together may be judged together; what lies across the plate may not.
"""

from collections.abc import Sequence

import numpy as np

from tapscan.places import Layout
from tapscan.records import FloatArray
from tapscan.screening.compare.shared_shift import Flags

SHARES = (0.10, 0.15, 0.20, 0.25, 0.33)  # of the places
DIRECTIONS = 24


def positions_of(layout: Layout | None, stations: Sequence[str]) -> FloatArray:
    """(n, 2) in the picture's heights (without an outline the picture is taken for square); nan where a station is not on the layout."""
    placed = {s.name: s for s in layout.stations} if layout is not None else {}
    wide = layout.outline.width_to_height if layout is not None and layout.outline is not None else 1.0
    nowhere = (np.nan, np.nan)
    return np.array([(placed[s].x * wide, placed[s].y) if s in placed else nowhere for s in stations])


def areas_of(positions: FloatArray) -> Flags:
    """(areas, n), each once. positions : (n, 2) of any length unit; a place whose position is nan has no neighbours."""
    known = np.isfinite(positions).all(axis=1)
    neighbours = _neighbours(positions[known]) if known.sum() > 1 else []
    found = np.zeros((len(neighbours), len(positions)), dtype=bool)
    if len(neighbours):
        found[:, known] = neighbours
    return np.unique(np.vstack([np.eye(len(positions), dtype=bool), found]), axis=0)


def _neighbours(positions: FloatArray) -> list[Flags]:
    count = len(positions)
    sizes = sorted({max(1, round(share * count)) for share in SHARES})
    apart = np.hypot(*(positions[:, None] - positions[None]).transpose(2, 0, 1))
    angles = 2 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    along = positions @ np.array([np.cos(angles), np.sin(angles)])
    orders = [*np.argsort(apart, axis=1, kind="stable"), *np.argsort(-along, axis=0, kind="stable").T]
    return [rank < size for rank in map(np.argsort, orders) for size in sizes]
