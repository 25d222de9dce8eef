"""Which places of a plate may share one piece of iron.

    areas_of(positions)    each place alone, each with its neighbours, and the plate's ends
    alone(count)           each place alone: where positions are not known
    positions_of(layout, stations)   where they lie, or None where the layout does not tell of all

An area is a row of True and False over the places. Chilled iron takes up a stretch of a casting, not places picked here and there, so
places that lie together may be judged together; what lies across the plate may not.
"""

from collections.abc import Sequence

import numpy as np

from tapscan.places import Layout
from tapscan.records import FloatArray
from tapscan.screening.shared_shift import Flags

SHARES = (0.10, 0.15, 0.20, 0.25, 0.33)  # of the places
DIRECTIONS = 24


def positions_of(layout: Layout | None, stations: Sequence[str]) -> FloatArray | None:
    """(n, 2) in the picture's heights."""
    placed = {s.name: s for s in layout.stations} if layout is not None else {}
    if layout is None or not all(s in placed for s in stations):
        return None
    wide = layout.outline.width_to_height if layout.outline is not None else 1.0
    return np.array([(placed[s].x * wide, placed[s].y) for s in stations])


def alone(count: int) -> Flags:
    """(count, count)."""
    return np.eye(count, dtype=bool)


def areas_of(positions: FloatArray) -> Flags:
    """(areas, n), each once. positions : (n, 2) of any length unit."""
    count = len(positions)
    sizes = sorted({max(1, round(share * count)) for share in SHARES})
    apart = np.hypot(*(positions[:, None] - positions[None]).transpose(2, 0, 1))
    angles = 2 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    along = positions @ np.array([np.cos(angles), np.sin(angles)])
    orders = [*np.argsort(apart, axis=1, kind="stable"), *np.argsort(-along, axis=0, kind="stable").T]
    found = [np.isin(np.arange(count), order[:size]) for order in orders for size in sizes]
    return np.unique(np.vstack([alone(count), *found]), axis=0)
