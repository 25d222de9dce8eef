"""Five invented plate patterns: three grands, a full upright plate and a three-quarter upright plate.

No maker's plate was measured or copied; sizes and masses are only of the usual order.

``build``   a pattern by name
``NAMES``   the names
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from msgspec import Struct
from msgspec.structs import replace
from shapely.geometry import LineString, Polygon, box

from bench.plates.layout import add_cracks, spots_for
from bench.plates.pattern import Pattern, Strut


class GrandDrawing(Struct, frozen=True):
    """Numbers from which a grand's outline and struts are drawn; all lengths in m.

    ``corners`` : outline before rounding. ``bar_y`` : front and back edge of the bar that carries agraffes and capo.
    ``hitch_m`` : width of the hitch-pin web. ``struts`` : (x at the bar, lean: run in x per run in y, width, depth).
    """

    corners: list[tuple[float, float]]
    bar_y: tuple[float, float]
    hitch_m: float
    struts: list[tuple[float, float, float, float]]
    bar_m: float = 0.030
    rounding_m: float = 0.10


def _bent(corners: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Cut the corners of the bentside three times, so that it becomes a smooth curve."""
    curve = np.array(corners[2:-1])
    for _ in range(3):
        cut = np.stack(
            [
                0.75 * curve[:-1] + 0.25 * curve[1:],
                0.25 * curve[:-1] + 0.75 * curve[1:],
            ],
            axis=1,
        )
        curve = np.concatenate([curve[:1], cut.reshape(-1, 2), curve[-1:]])
    return [*corners[:2], *[(float(x), float(y)) for x, y in curve], corners[-1]]


def _rounded(corners: list[tuple[float, float]], radius_m: float) -> Polygon:
    raw = Polygon(corners)
    soft = raw.buffer(2 * radius_m).buffer(-2 * radius_m - 0.4 * radius_m).buffer(0.4 * radius_m)
    return Polygon(soft.simplify(2e-4).exterior)


def _end_inside(outline: Polygon, start: tuple[float, float], lean: float, margin_m: float) -> tuple[float, float]:
    ray = LineString([start, (start[0] + 4 * lean, start[1] + 4)])
    part = ray.intersection(outline.buffer(-margin_m))
    part = part if part.geom_type == "LineString" else part.geoms[0]
    x, y = part.coords[-1]
    return float(x), float(y)


def _opening(outline: Polygon, hitch_m: float, low: float, high: float) -> list[Polygon]:
    x0, _, x1, _ = outline.bounds
    inner = outline.buffer(-hitch_m).intersection(box(x0, low, x1, high))
    return [inner] if inner.geom_type == "Polygon" else list(inner.geoms)


def _grand(name: str, title: str, drawing: GrandDrawing, web_m: float) -> Pattern:
    outline = _rounded(_bent(drawing.corners), drawing.rounding_m)
    width, length = outline.bounds[2], outline.bounds[3]
    front, back = drawing.bar_y
    struts = []
    for number, (x, lean, wide, deep) in enumerate(drawing.struts, start=1):
        start = (x, back - 0.005)
        label = f"strut {number}"
        struts.append(Strut(label, start, _end_inside(outline, start, lean, 0.045), wide, deep))
    field = shapely.intersection(box(0.11, 0.055, width - 0.11, front - 0.045), outline.buffer(-0.05))
    inset = outline.buffer(-0.038).exterior
    bolts = [inset.interpolate(s, normalized=True).coords[0] for s in np.linspace(0.02, 0.98, 12)]
    pattern = Pattern(
        name=name,
        title=title,
        outline=outline,
        openings=_opening(outline, drawing.hitch_m, back, length),
        struts=struts,
        bars=[
            (
                "bar",
                shapely.intersection(box(-1, front, 4, back), outline),
                drawing.bar_m,
            )
        ],
        pin_fields=[field],
        bolts=_apart(bolts, struts),
        stations=[],
        pads=[],
        clamps=[],
        pickups=[],
        microphones=[],
        web_m=web_m,
        chill=box(0.76 * width, -1, 4, 0.70 * length),
    )
    return add_cracks(spots_for(pattern))


def _apart(bolts: list[tuple[float, float]], struts: list[Strut]) -> list[tuple[float, float]]:
    bars = shapely.unary_union([s.polygon() for s in struts])
    return [b for b in bolts if bars.distance(shapely.Point(b)) > 0.03]


def small_grand() -> Pattern:
    """About 1.4 by 1.3 m, six struts."""
    corners = [
        (0, 0),
        (1.40, 0),
        (1.40, 0.42),
        (1.12, 0.62),
        (0.86, 0.92),
        (0.62, 1.20),
        (0.34, 1.32),
        (0, 1.30),
    ]
    struts = [
        (0.16, -0.02, 0.032, 0.038),
        (0.36, 0.03, 0.030, 0.038),
        (0.58, 0.06, 0.030, 0.038),
        (0.80, 0.05, 0.030, 0.036),
        (1.00, 0.08, 0.028, 0.036),
        (1.20, 0.05, 0.028, 0.036),
    ]
    return _grand(
        "small-grand",
        "small grand",
        GrandDrawing(corners, (0.25, 0.29), 0.115, struts),
        0.0095,
    )


def parlour_grand() -> Pattern:
    """About 1.45 by 1.5 m, seven struts."""
    corners = [
        (0, 0),
        (1.45, 0),
        (1.45, 0.46),
        (1.20, 0.68),
        (0.96, 1.00),
        (0.70, 1.36),
        (0.40, 1.51),
        (0, 1.48),
    ]
    struts = [
        (0.185, -0.01, 0.030, 0.038),
        (0.36, 0.00, 0.030, 0.038),
        (0.54, 0.04, 0.030, 0.038),
        (0.73, 0.05, 0.030, 0.038),
        (0.93, 0.06, 0.030, 0.038),
        (1.11, 0.08, 0.030, 0.038),
        (1.28, 0.03, 0.030, 0.038),
    ]
    return _grand(
        "parlour-grand",
        "parlour grand",
        GrandDrawing(corners, (0.26, 0.30), 0.125, struts),
        0.0095,
    )


def concert_grand() -> Pattern:
    """About 1.5 by 2.2 m, five heavy struts."""
    corners = [
        (0, 0),
        (1.50, 0),
        (1.50, 0.50),
        (1.26, 0.78),
        (1.02, 1.22),
        (0.78, 1.80),
        (0.48, 2.20),
        (0, 2.16),
    ]
    struts = [
        (0.23, -0.01, 0.036, 0.046),
        (0.48, 0.00, 0.036, 0.046),
        (0.74, 0.03, 0.034, 0.044),
        (1.02, 0.06, 0.032, 0.042),
        (1.28, 0.05, 0.030, 0.040),
    ]
    drawing = GrandDrawing(corners, (0.28, 0.325), 0.15, struts, bar_m=0.034)
    return _grand("concert-grand", "concert grand", drawing, 0.0105)


def _upright(
    outline: Polygon,
    bar: tuple[float, float],
    low: float,
    hitch_m: float,
    struts: list[Strut],
) -> Pattern:
    """Shared parts of an upright plate; the bar lies on top of the opening."""
    inset = outline.buffer(-0.036).exterior
    bolts = [inset.interpolate(s, normalized=True).coords[0] for s in np.linspace(0.03, 0.97, 11)]
    width = outline.bounds[2]
    opening = _opening(outline, hitch_m, low, bar[0])
    slope = Polygon(
        [
            (-1, -1),
            (-1, low + 0.02),
            (0.35 * width, low + 0.02),
            (width + 1, low + 0.42),
            (4, -1),
        ]
    )
    return Pattern(
        name="",
        title="",
        outline=outline,
        openings=[o.difference(slope) for o in opening],
        struts=struts,
        bars=[("bar", shapely.intersection(box(-1, bar[0], 4, bar[1]), outline), 0.028)],
        pin_fields=[],
        bolts=_apart(bolts, struts),
        stations=[],
        pads=[],
        clamps=[],
        pickups=[],
        microphones=[],
        web_m=0.0090,
        chill=box(0.74 * width, 0.35, 4, 4),
    )


def _upright_struts(xs: list[float], leans: list[float], low: float, top: float) -> list[Strut]:
    out = []
    for number, (x, lean) in enumerate(zip(xs, leans, strict=True), start=1):
        out.append(Strut(f"strut {number}", (x, top), (x - lean * (top - low), low), 0.030, 0.036))
    return out


def upright_full() -> Pattern:
    """About 1.42 by 1.22 m, pin field above the bar, five struts."""
    outline = _rounded([(0, 0), (1.42, 0), (1.42, 1.22), (0, 1.22)], 0.08)
    struts = _upright_struts([0.14, 0.42, 0.72, 1.00, 1.27], [-0.02, 0.10, 0.10, 0.08, 0.02], 0.10, 0.905)
    base = _upright(outline, (0.90, 0.94), 0.20, 0.085, struts)
    field = box(0.10, 0.985, 1.32, 1.15)
    return add_cracks(
        spots_for(
            replace(
                base,
                name="upright-full",
                title="upright, full plate",
                pin_fields=[field],
            )
        )
    )


def upright_three_quarter() -> Pattern:
    """About 1.40 by 1.06 m: ends above the bar in five lugs, so the pin block stays bare; four struts."""
    body = box(0, 0, 1.40, 0.95)
    lugs = [box(x - 0.035, 0.90, x + 0.035, 1.06) for x in (0.07, 0.385, 0.70, 1.015, 1.33)]
    outline = _rounded([(0, 0), (1.40, 0), (1.40, 0.95), (0, 0.95)], 0.06).union(shapely.unary_union(lugs))
    outline = outline.union(box(0, 0.85, 1.40, 0.95))
    struts = _upright_struts([0.16, 0.52, 0.88, 1.24], [-0.02, 0.14, 0.12, 0.03], 0.10, 0.885)
    base = _upright(Polygon(outline.exterior), (0.88, 0.93), 0.20, 0.085, struts)
    lug_bolts = [(x, 1.022) for x in (0.07, 0.385, 0.70, 1.015, 1.33)]
    kept = [b for b in base.bolts if b[1] < 0.80 and body.contains(shapely.Point(b))]
    base = replace(base, bolts=kept + lug_bolts, chill=box(0.74 * 1.40, 0.30, 4, 4))
    return add_cracks(spots_for(replace(base, name="upright-three-quarter", title="upright, three-quarter plate")))


BUILDERS: dict[str, Callable[[], Pattern]] = {
    "small-grand": small_grand,
    "parlour-grand": parlour_grand,
    "concert-grand": concert_grand,
    "upright-full": upright_full,
    "upright-three-quarter": upright_three_quarter,
}
NAMES = tuple(BUILDERS)


def build(name: str) -> Pattern:
    """Pattern by name; raises ``ValueError`` with the known names."""
    if name not in BUILDERS:
        raise ValueError(f"no pattern {name!r}; known: {', '.join(NAMES)}")
    return BUILDERS[name]()
