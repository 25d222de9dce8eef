"""Where a plate may be cracked: cuts drawn from the outline's own geometry, each belonging to a part of the plate.

    cuts_of(iron, outline)   Cut: across each strut, into each corner of a bay, from the rim, at each screw hole, in the pin field

Cuts of one part that lie apart (along a strut, along the rim) carry words that say where on it. Lengths as in the planning study.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct

from tapscan.model.iron import Iron
from tapscan.places import Outline
from tapscan.records import FloatArray

if TYPE_CHECKING:
    from shapely.geometry import LinearRing, Point
    from shapely.geometry.base import BaseGeometry

PartKind = Literal["strut", "corner", "rim", "screw", "pin field"]
STRUT_STEP_M, RIM_STEP_M, PIN_STEP_M = 0.06, 0.07, 0.12
CORNER_M, RIM_M, SCREW_M, PIN_M = 0.050, 0.045, 0.060, 0.060
LEAST_BAY_M2 = 0.006
CORNER_TURN = (
    0.9,
    1.75,
)  # length of the sum of the unit vectors along both sides: about 58 to 127 degrees between them
INSET_M = 0.004  # samples keep this far from a cut's beginning at an edge
SAMPLES = 5
ALONG, MIDDLE = 0.36, 0.64  # shares of a side: first third, middle, last third
TURNS = (-0.6, 0.0, 0.6)  # rad, of a crack at a screw hole from straight across the edge


class Cut(Struct, frozen=True):
    """One line along which the iron may be open."""

    part: str  # of the plate, in words
    kind: PartKind
    where: str  # on that part; empty where it is small
    start_m: tuple[float, float]
    end_m: tuple[float, float]

    def samples(self) -> FloatArray:
        """(SAMPLES, 2) places along it, m."""
        share = np.linspace(0.08, 0.92, SAMPLES)[:, None]
        return np.asarray((1 - share) * np.array(self.start_m) + share * np.array(self.end_m))

    @property
    def normal(self) -> FloatArray:
        """(2,) unit vector across it."""
        along = np.subtract(self.end_m, self.start_m)
        along = along / np.hypot(*along)
        return np.array([-along[1], along[0]])


def cuts_of(iron: Iron, outline: Outline) -> list[Cut]:
    """Those whose iron is wide enough."""
    words = Words(outline, iron.size_m)
    found = [*_struts(iron, outline, words), *_corners(iron, words), *_rim(iron, words)]
    return [*found, *_screws(iron, outline, words), *_pin_fields(iron, outline, words)]


class Words(Struct, frozen=True):
    """Places in words, by the outline's own words for its sides."""

    outline: Outline
    size_m: FloatArray

    def end(self, at: FloatArray, other: FloatArray) -> str:
        """The side towards which `at` lies, seen from `other`."""
        top, right, bottom, left = self.outline.sides
        x, y = (np.asarray(at) - other) / self.size_m
        tall = abs(np.subtract(at, other)[1]) >= abs(np.subtract(at, other)[0])
        return (bottom if y > 0 else top) if tall else (right if x > 0 else left)

    def side(self, at: FloatArray) -> str:
        """Such as: treble, tail end."""
        top, right, bottom, left = self.outline.sides
        x, y = np.asarray(at) / self.size_m
        across = left if x < ALONG else right if x > MIDDLE else "middle"
        along = top if y < ALONG else bottom if y > MIDDLE else "middle"
        told = [
            w
            for w in (
                f"{across} side" if across and across != "middle" else "",
                f"{along} end" if along and along != "middle" else "",
            )
            if w
        ]
        return ", ".join(told) or "middle"


def _struts(iron: Iron, outline: Outline, words: Words) -> Iterator[Cut]:
    import shapely

    names = [name or f"strut {k}" for k, (name, _, _) in enumerate(iron.struts, 1)]
    for name, (_, line, area) in zip(names, iron.struts, strict=True):
        free = _longest(
            shapely.intersection(line, iron.bays.union(area).buffer(0.002)).intersection(_bays_about(outline, iron))
        )
        if free is None or free.length < STRUT_STEP_M:
            free = line
        ends = np.array(free.coords)[[0, -1]]
        along = (ends[1] - ends[0]) / free.length
        normal, half = np.array([-along[1], along[0]]), area.area / line.length / 2
        count = max(3, round(free.length / STRUT_STEP_M))
        for share in (np.arange(count) + 0.5) / count:
            at = ends[0] + share * free.length * along
            where = "middle" if ALONG <= share <= MIDDLE else f"{words.end(at, ends.mean(axis=0))} end".strip()
            yield _cut(name, "strut", where, at - half * normal, at + half * normal)


def _bays_about(outline: Outline, iron: Iron) -> BaseGeometry:
    """Openings as drawn, struts or not."""
    import shapely
    from shapely.geometry import Polygon

    return shapely.unary_union([Polygon(np.array(b) * iron.size_m).buffer(0) for b in outline.openings])


def _longest(line: BaseGeometry) -> BaseGeometry | None:
    import shapely

    parts = [p for p in shapely.get_parts(line) if p.geom_type == "LineString"]
    return max(parts, key=lambda p: p.length, default=None)


def _corners(iron: Iron, words: Words) -> Iterator[Cut]:
    import shapely
    from shapely.geometry import Point

    beside = [(name or f"strut {k}", area) for k, (name, _, area) in enumerate(iron.struts, 1)]
    for bay in shapely.get_parts(iron.bays):
        if bay.area < LEAST_BAY_M2:
            continue
        ring = np.asarray(bay.simplify(0.006).exterior.coords)[:-1]
        for i, corner in enumerate(ring):
            a, b = ring[i - 1] - corner, ring[(i + 1) % len(ring)] - corner
            inward = a / np.hypot(*a) + b / np.hypot(*b)
            size = float(np.hypot(*inward))
            if not CORNER_TURN[0] < size < CORNER_TURN[1]:
                continue
            end = corner - CORNER_M * inward / size
            if not bay.buffer(-1e-4).intersects(shapely.LineString([corner, end])) and iron.whole.buffer(
                0.002
            ).contains(Point(end)):
                near = min(beside, key=lambda s: s[1].distance(Point(corner)), default=None)
                at = (
                    f"corner beside {near[0]}"
                    if near and near[1].distance(Point(corner)) < CORNER_M
                    else "corner of the opening"
                )
                yield _cut(f"{at}, {words.side(corner)}", "corner", "", corner - INSET_M * inward / size, end)


def _rim(iron: Iron, words: Words) -> Iterator[Cut]:
    edge = max(_rings(iron.whole), key=lambda r: r.length)
    count = round(edge.length / RIM_STEP_M)
    struts = [area for _, _, area in iron.struts]
    for k in range(count):
        place = (k + 0.5) * edge.length / count
        p, q, foot = (np.array(edge.interpolate(place + d).coords[0]) for d in (-0.01, 0.01, 0.0))
        normal = np.array([-(q - p)[1], (q - p)[0]]) / max(float(np.hypot(*(q - p))), 1e-9)
        inward = normal if _holds(iron.whole, foot + 0.008 * normal) else -normal
        if _holds(iron.whole, foot + RIM_M * inward) and not any(s.distance(_point(foot)) < 0.01 for s in struts):
            yield _cut(f"rim, {words.side(foot)}", "rim", "", foot + INSET_M * inward, foot + RIM_M * inward)


def _rings(whole: BaseGeometry) -> list[LinearRing]:
    import shapely

    return [part.exterior for part in shapely.get_parts(whole)]


def _screws(iron: Iron, outline: Outline, words: Words) -> Iterator[Cut]:
    edge = max(_rings(iron.whole), key=lambda r: r.length)
    for number, point in enumerate(outline.screws, 1):
        centre = np.array(point) * iron.size_m
        foot = np.array(edge.interpolate(edge.project(_point(centre))).coords[0])
        away = centre - foot
        away = away / max(float(np.hypot(*away)), 1e-9)
        for turn in TURNS:
            way = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ away
            yield _cut(f"screw hole {number}, {words.side(centre)}", "screw", "", centre, centre + SCREW_M * way)


def _pin_fields(iron: Iron, outline: Outline, words: Words) -> Iterator[Cut]:
    from shapely.geometry import Polygon

    for polygon in outline.pin_fields:
        field = Polygon(np.array(polygon) * iron.size_m)
        x0, y0, x1, y1 = field.bounds
        for y in (0.25, 0.5, 0.75):
            for x in np.arange(x0 + 0.04, x1 - 0.04, PIN_STEP_M):
                at = np.array([x, y0 + y * (y1 - y0)])
                step = np.array([PIN_M / 2, 0.0])
                if field.contains(_point(at)):
                    yield _cut("pin field", "pin field", words.side(at), at - step, at + step)


def _cut(part: str, kind: PartKind, where: str, start: FloatArray, end: FloatArray) -> Cut:
    return Cut(part, kind, where, (float(start[0]), float(start[1])), (float(end[0]), float(end[1])))


def _point(at: FloatArray) -> Point:
    from shapely.geometry import Point

    return Point(float(at[0]), float(at[1]))


def _holds(whole: BaseGeometry, at: FloatArray) -> bool:
    return bool(whole.contains(_point(at)))
