"""An outline as iron: regions with a thickness, in metres.

    iron_of(outline)     Iron: disjoint regions (rim, bars, struts, pin fields, web)
    to_metres(outline)   what turns the picture's 0..1 into metres, (2,): width and height

The picture is kept as it stands: x to the right, y down. What a layout does not tell is guessed by kind; the guesses are of the usual
order (common practice, no source), and a model whose thickness is a fifth off still names the right part (bench/location.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from tapscan.errors import BadLayout
from tapscan.places import Outline, Point
from tapscan.records import FloatArray

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

USUAL_WIDTH_M = 1.42  # of a plate, bass to treble
WEB_MM, RIM_MM, STRUT_MM, BAR_MM, PIN_FIELD_MM = 9.5, 18.0, 38.0, 28.0, 11.5
RIM_WIDTH_MM, STRUT_WIDTH_MM = 16.0, 30.0
PIN_STIFFNESS, PIN_MASS = 0.72, 0.86  # a field of drilled holes, smeared (bench/plates/pattern.py)
GRID_M = 1e-3
LEAST_M2 = 1e-5


class Region(Struct, frozen=True, eq=False):
    """Part of the iron with one thickness; factors below 1 smear small holes."""

    area: BaseGeometry
    thickness_m: float
    stiffness: float = 1.0
    mass: float = 1.0


class Iron(Struct, frozen=True, eq=False):
    """All of it, and the pieces that candidates are drawn from."""

    whole: BaseGeometry
    regions: tuple[Region, ...]
    bays: BaseGeometry  # openings without the struts across them
    struts: tuple[tuple[str, BaseGeometry, BaseGeometry], ...]  # name, middle line, area
    size_m: FloatArray


def to_metres(outline: Outline) -> FloatArray:
    """Width and height of the picture in m."""
    width = outline.width_m or USUAL_WIDTH_M
    return np.array([width, width / outline.width_to_height])


def iron_of(outline: Outline) -> Iron:
    """Raises BadLayout where the drawing makes no one piece of iron."""
    import shapely
    from shapely.geometry import LineString

    size = to_metres(outline)
    edge = _polygon(outline.edge, size)
    openings = shapely.unary_union([_polygon(bay, size) for bay in outline.openings])
    struts = [(m, LineString(np.array(m.points) * size)) for m in outline.members if m.is_line]
    areas = [line.buffer(_mm(m.width_mm, STRUT_WIDTH_MM) / 2, cap_style="square") for m, line in struts]
    bars = [m for m in outline.members if not m.is_line]
    blocks = [_polygon(m.points, size) for m in bars]
    whole = shapely.unary_union([edge.difference(openings), *areas, *blocks]).intersection(edge)
    whole = _largest(shapely.set_precision(whole, GRID_M), outline)
    wanted = [Region(area, _mm(m.thickness_mm, BAR_MM)) for m, area in zip(bars, blocks, strict=True)]
    rim = edge.difference(edge.buffer(-RIM_WIDTH_MM / 1000, join_style="mitre"))
    wanted.append(Region(rim, _mm(outline.rim_mm, RIM_MM)))
    wanted += [Region(area, _mm(m.thickness_mm, STRUT_MM)) for (m, _), area in zip(struts, areas, strict=True)]
    fields = [_polygon(f, size) for f in outline.pin_fields]
    wanted += [Region(f, PIN_FIELD_MM / 1000, PIN_STIFFNESS, PIN_MASS) for f in fields]
    wanted.append(Region(edge, _mm(outline.web_mm, WEB_MM)))
    named = tuple((m.name, line, area) for (m, line), area in zip(struts, areas, strict=True))
    bays = openings.difference(shapely.unary_union(areas)).difference(shapely.unary_union(blocks))
    return Iron(whole, _disjoint(whole, wanted), bays, named, size)


def _mm(given: float | None, usual: float) -> float:
    return (usual if given is None else given) / 1000


def _polygon(points: Sequence[Point], size: FloatArray) -> BaseGeometry:
    from shapely.geometry import Polygon

    return Polygon(np.array(points) * size).buffer(0)


def _largest(whole: BaseGeometry, outline: Outline) -> BaseGeometry:
    import shapely

    parts = sorted(shapely.get_parts(whole), key=lambda p: -p.area)
    if not parts or parts[0].area < 0.8 * whole.area:
        raise BadLayout(
            f"{outline.name}: the iron of this outline falls into several pieces; let the edge go round all of it, the openings lie within, and the struts reach the iron at both ends"
        )
    return parts[0]


def _disjoint(whole: BaseGeometry, wanted: Sequence[Region]) -> tuple[Region, ...]:
    """Each region without those before it."""
    import shapely

    rest, out = whole, []
    for item in wanted:
        area = _areas(shapely.intersection(rest, item.area, grid_size=GRID_M))
        rest = _areas(shapely.difference(rest, item.area, grid_size=GRID_M))
        if area.area > LEAST_M2:
            out.append(Region(area, item.thickness_m, item.stiffness, item.mass))
    return tuple(out)


def _areas(found: BaseGeometry) -> BaseGeometry:
    """Without the lines and points that regions which just touch leave over; shapely would not go on with them."""
    import shapely

    return shapely.union_all([part for part in shapely.get_parts(found) if part.geom_type == "Polygon"])
