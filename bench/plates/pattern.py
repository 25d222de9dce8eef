"""What a plate pattern is: the drawing from which a mesh is made.

All patterns are invented. Positions in m, x to the right and y away from the keyboard (grands) or upward (uprights),
seen from the string side. Depths are thicknesses in m, symmetric about the middle plane.

``Strut``, ``CrackLine``, ``Spot``, ``Pattern``   the drawing
``regions``                                       disjoint polygons with thickness, stiffness factor and mass factor
"""

from __future__ import annotations

import numpy as np
import shapely
from msgspec import Struct, field
from shapely.geometry import LineString, Point, Polygon

GRID_M = 1e-4
PIN_HOLE_STIFFNESS = 0.72  # a field of drilled holes, smeared: about 15 % of the area removed
PIN_HOLE_MASS = 0.86
PIN_HOLE_M, PIN_PITCH_M = 0.008, 0.018  # bore and pitch of such a field: 15.5 % of the area


class Strut(Struct, frozen=True):
    """A straight bar: ``name``, ends in m, ``width_m`` in the plane, ``depth_m`` across it."""

    name: str
    start: tuple[float, float]
    end: tuple[float, float]
    width_m: float = 0.030
    depth_m: float = 0.038

    def polygon(self) -> Polygon:
        return LineString([self.start, self.end]).buffer(self.width_m / 2, cap_style="flat")

    def at(self, share: float) -> tuple[float, float]:
        """Point on the middle line, ``share`` 0 to 1 from start to end."""
        a, b = np.array(self.start), np.array(self.end)
        x, y = a + share * (b - a)
        return float(x), float(y)

    def across(self, share: float, margin_m: float = 0.0) -> tuple[tuple[float, float], tuple[float, float]]:
        """Ends of a straight line across the strut at ``share``."""
        a, b = np.array(self.start), np.array(self.end)
        normal = np.array([-(b - a)[1], (b - a)[0]]) / np.hypot(*(b - a))
        mid, half = np.array(self.at(share)), (self.width_m / 2 + margin_m) * normal
        p, q = mid - half, mid + half
        return (float(p[0]), float(p[1])), (float(q[0]), float(q[1]))


class CrackLine(Struct, frozen=True):
    """A straight line along which the mesh can be opened.

    ``kind`` : "strut", "corner", "bolt", "pin" or "rim". ``step_m`` : length of a side along the line.
    """

    name: str
    kind: str
    start: tuple[float, float]
    end: tuple[float, float]
    step_m: float = 0.005


class Spot(Struct, frozen=True):
    """A named place in m, with a plain description."""

    name: str
    x_m: float
    y_m: float
    description: str


class Pattern(Struct, frozen=True, eq=False):
    """One plate pattern; see the module's head for the conventions.

    ``chill`` : the region of the shipped chilled case; ``chill_regions`` : more of them by name, in a study set.
    ``pin_boss_m`` : iron of a pin field over the web's. ``pin_holes`` : middles of holes really drilled; all others are smeared.
    """

    name: str
    title: str
    outline: Polygon
    openings: list[Polygon]
    struts: list[Strut]
    bars: list[tuple[str, Polygon, float]]
    pin_fields: list[Polygon]
    bolts: list[tuple[float, float]]
    stations: list[Spot]
    pads: list[Spot]
    clamps: list[Spot]
    pickups: list[Spot]
    microphones: list[tuple[str, float, float, float]]
    lines: list[CrackLine] = field(default_factory=list)
    chill: Polygon | None = None
    chill_regions: dict[str, Polygon] = field(default_factory=dict)
    web_m: float = 0.0095
    rim_width_m: float = 0.016
    rim_m: float = 0.018
    bolt_radius_m: float = 0.008
    pin_boss_m: float = 0.002
    pin_holes: list[tuple[float, float]] = field(default_factory=list)
    modulus_pa: float = 105e9
    poisson: float = 0.26
    density_kg_m3: float = 7200.0

    def metal(self) -> Polygon:
        """The iron as one polygon with holes: outline less bays and bolt holes, plus the struts across the bays."""
        iron = self.outline.difference(shapely.unary_union(self.openings))
        iron = shapely.unary_union([iron, *[s.polygon() for s in self.struts], *[b[1] for b in self.bars]])
        iron = iron.intersection(self.outline)
        holes = [Point(b).buffer(self.bolt_radius_m, quad_segs=2) for b in self.bolts]
        holes += [Point(p).buffer(PIN_HOLE_M / 2, quad_segs=2) for p in self.pin_holes]
        iron = shapely.set_precision(iron.difference(shapely.unary_union(holes)), GRID_M)
        if len(shapely.get_parts(iron)) > 1:
            raise ValueError(f"{self.name}: the iron falls into {len(iron.geoms)} parts")
        return iron


class Region(Struct, frozen=True, eq=False):
    """Part of the iron with one thickness; factors below 1 smear small holes."""

    name: str
    area: shapely.Geometry
    thickness_m: float
    stiffness_factor: float = 1.0
    mass_factor: float = 1.0


def regions(pattern: Pattern) -> list[Region]:
    """Disjoint regions in order of precedence: bars, rim, struts, pin fields, web."""
    rest = pattern.metal()
    rim = pattern.outline.difference(pattern.outline.buffer(-pattern.rim_width_m, join_style="mitre"))
    wanted = [Region(name, area, depth) for name, area, depth in pattern.bars]
    wanted.append(Region("rim", rim, pattern.rim_m))
    wanted += [Region(s.name, s.polygon(), s.depth_m) for s in pattern.struts]
    wanted += [
        Region("pin field", area, pattern.web_m + pattern.pin_boss_m, PIN_HOLE_STIFFNESS, PIN_HOLE_MASS)
        for area in pattern.pin_fields
    ]
    wanted.append(Region("web", pattern.outline, pattern.web_m))
    out = []
    for item in wanted:
        area = shapely.intersection(rest, item.area, grid_size=GRID_M)
        rest = shapely.difference(rest, item.area, grid_size=GRID_M)
        if area.area > 1e-6:
            out.append(
                Region(
                    item.name,
                    area,
                    item.thickness_m,
                    item.stiffness_factor,
                    item.mass_factor,
                )
            )
    return out
