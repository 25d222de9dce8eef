"""Where a pattern is tapped, held, listened to and where it may crack: places drawn from the pattern's own geometry.

``spots_for``    stations, pads, clamps, pickups and microphones
``add_cracks``   crack lines on struts, at bay corners, bolt holes, in the pin field and at the outer edge, as shipped
(``drawn.py`` draws more of them at random.)
"""

from __future__ import annotations

import numpy as np
import shapely
from msgspec.structs import replace
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from bench.plates.mesh import PlateMesh
from bench.plates.pattern import CrackLine, Pattern, Spot, Strut

LONG_M = 0.100
OVERHANG_M = 0.001  # lines that cross an edge start this far outside, so that they meet it cleanly
LIGAMENT_M = 0.012  # iron left between an inner crack's far end and any other edge


def _free_part(pattern: Pattern, strut: Strut) -> tuple[float, float]:
    """Shares along the strut between which it crosses the bays."""
    line = LineString([strut.start, strut.end])
    part = shapely.intersection(line, shapely.unary_union(pattern.openings))
    pieces = [part] if part.geom_type == "LineString" else list(part.geoms)
    places = [line.project(Point(c)) / line.length for piece in pieces for c in piece.coords]
    return min(places), max(places)


def strut_share(pattern: Pattern, strut: Strut, share: float) -> float:
    """Share of the whole strut at ``share`` of its free part."""
    low, high = _free_part(pattern, strut)
    return low + share * (high - low)


def on_edge(pattern: Pattern, around: float, inset_m: float) -> tuple[float, float]:
    """Point ``around`` (0 to 1) along the outline, ``inset_m`` inside it."""
    ring = pattern.outline.buffer(-inset_m).exterior
    x, y = ring.interpolate(around, normalized=True).coords[0]
    return float(x), float(y)


def _side_name(pattern: Pattern, x_m: float) -> str:
    share = x_m / pattern.outline.bounds[2]
    return "bass" if share < 0.36 else "middle" if share < 0.67 else "treble"


def _stations(pattern: Pattern) -> list[Spot]:
    places: list[tuple[float, float, str]] = []
    where = {0.22: "near the bar", 0.47: "middle", 0.76: "near the hitch pins"}
    for strut in pattern.struts:
        for share, words in where.items():
            x, y = strut.at(strut_share(pattern, strut, share))
            places.append((x, y, f"{strut.name} ({_side_name(pattern, x)}), {words}"))
    rank = {"middle": 0, "near the bar": 1, "near the hitch pins": 2}
    places.sort(key=lambda p: rank[p[2].split(", ")[1]])
    places = sorted(places[:13], key=lambda p: (p[0], p[1]))
    x0, y0, x1, y1 = pattern.bars[0][1].bounds
    for share, side in ((0.19, "bass"), (0.52, "middle"), (0.83, "treble")):
        places.append((x0 + share * (x1 - x0), (y0 + y1) / 2 + 0.003, f"bar, {side}"))
    for around in np.linspace(0.07, 0.93, 20 - len(places)):
        x, y = on_edge(pattern, float(around), 0.062)
        places.append((x, y, f"web by the edge, {_side_name(pattern, x)}"))
    return [Spot(f"S{i}", x + 0.0013, y + 0.0017, words) for i, (x, y, words) in enumerate(places, start=1)]


def more_stations(pattern: Pattern, mesh: PlateMesh, count: int) -> Pattern:
    """The pattern with its stations first and others between them, each as far as can be from all before it."""
    centre = mesh.points_m[:, mesh.triangles].mean(axis=1)
    stations = list(pattern.stations)
    apart = np.min([np.hypot(centre[0] - s.x_m, centre[1] - s.y_m) for s in stations], axis=0)
    while len(stations) < count:
        x, y = centre[:, int(np.argmax(apart))]
        stations.append(Spot(f"S{len(stations) + 1}", float(x), float(y), f"between, {_side_name(pattern, x)}"))
        apart = np.minimum(apart, np.hypot(centre[0] - x, centre[1] - y))
    return replace(pattern, stations=stations)


def _ring_spots(pattern: Pattern, kind: str, around: list[float], inset_m: float) -> list[Spot]:
    out = []
    for number, share in enumerate(around, start=1):
        x, y = on_edge(pattern, share, inset_m)
        out.append(Spot(f"{kind} {number}", x, y, f"by the edge, {_side_name(pattern, x)}"))
    return out


def spots_for(pattern: Pattern) -> Pattern:
    """The pattern with its places filled in."""
    stations = _stations(pattern)
    pads = _ring_spots(pattern, "pad", [0.09, 0.33, 0.58, 0.84], 0.055)
    pads += _ring_spots(pattern, "sling", [0.18, 0.71], 0.030)
    clamps = _ring_spots(pattern, "clamp", [0.03, 0.24, 0.47, 0.66, 0.91], 0.024)
    pickups = [replace(s, name=f"pickup {i}") for i, s in enumerate(_ring_spots(pattern, "", [0.415, 0.775], 0.07), 1)]
    middle = pattern.struts[len(pattern.struts) // 2].at(0.55)
    first = pattern.struts[0].at(0.4)
    mics = [
        ("near 1", middle[0] + 0.02, middle[1], 0.1),
        ("near 2", first[0] + 0.02, first[1], 0.1),
        ("far 1", middle[0] + 0.02, middle[1], 0.4),
        ("far 2", first[0] + 0.02, first[1], 0.4),
    ]
    return replace(
        pattern,
        stations=stations,
        pads=pads,
        clamps=clamps,
        pickups=pickups,
        microphones=mics,
    )


def _strut_lines(pattern: Pattern) -> list[CrackLine]:
    out = []
    for number, strut in enumerate(pattern.struts):
        for share in (0.36, 0.60) if number % 2 else (0.57,):
            a, b = strut.across(strut_share(pattern, strut, share), OVERHANG_M)
            out.append(CrackLine(f"{strut.name} at {share:.2f}", "strut", a, b, strut.width_m / 8))
    return out


def corner_candidates(pattern: Pattern, length_m: float = LONG_M) -> list[CrackLine]:
    """Lines from every inner corner of the larger bays straight into the iron, where the iron is wide enough; unnamed."""
    bars = [s.polygon() for s in pattern.struts]
    bays = shapely.unary_union(pattern.openings).difference(shapely.unary_union(bars))
    vertices = shapely.get_coordinates(pattern.metal())
    out: list[CrackLine] = []
    for bay in bays.geoms if hasattr(bays, "geoms") else [bays]:
        ring = np.asarray(shapely.simplify(bay, 1e-3).exterior.coords)[:-1]
        for i, corner in enumerate(ring):
            a, b = ring[i - 1] - corner, ring[(i + 1) % len(ring)] - corner
            inward = a / np.hypot(*a) + b / np.hypot(*b)
            if not 0.9 < np.hypot(*inward) < 1.75 or bay.area < 0.01:
                continue
            root = vertices[np.argmin(np.hypot(*(vertices - corner).T))]
            end = root - inward / np.hypot(*inward) * length_m
            out.append(CrackLine("", "corner", tuple(root), tuple(end)))
    iron = iron_of(pattern)
    return [line for line in out if stays_in(iron, line)]


def _corner_lines(pattern: Pattern) -> list[CrackLine]:
    spread = _spread(corner_candidates(pattern), 5)
    return [replace(line, name=f"corner {i}") for i, line in enumerate(spread, start=1)]


def iron_of(pattern: Pattern) -> tuple[BaseGeometry, BaseGeometry]:
    """The iron, and what of it has a ligament all round: made once for all lines that are tried."""
    metal = pattern.metal()
    within = metal.buffer(-LIGAMENT_M)
    shapely.prepare([metal, within])
    return metal, within


def stays_in(iron: tuple[BaseGeometry, BaseGeometry], line: CrackLine) -> bool:
    """Whether a crack line lies in the iron, with a ligament left beyond all but its beginning."""
    metal, within = iron
    path = LineString([line.start, line.end])
    late = LineString([path.interpolate(0.3, normalized=True), path.interpolate(1.0, normalized=True)])
    early = LineString(
        [
            path.interpolate(0.03, normalized=True),
            path.interpolate(0.3, normalized=True),
        ]
    )
    return bool(within.contains(late) and metal.contains(early))


def _spread(lines: list[CrackLine], count: int) -> list[CrackLine]:
    """At most ``count`` lines, far from one another (greedy)."""
    chosen = lines[:1]
    while lines and len(chosen) < count:
        gaps = [min(LineString([c.start, c.end]).distance(LineString([x.start, x.end])) for c in chosen) for x in lines]
        best = int(np.argmax(gaps))
        if gaps[best] < 0.08:
            break
        chosen.append(lines[best])
    return chosen


def inward_at(outline: Polygon, at: tuple[float, float]) -> np.ndarray:
    """(2,) unit normal into the plate at the point of the outline nearest to ``at``."""
    ring = outline.exterior
    place = ring.project(Point(at))
    p, q = ring.interpolate(place - 0.01), ring.interpolate(place + 0.01)
    normal = np.array([-(q.y - p.y), q.x - p.x])
    normal /= np.hypot(*normal)
    foot = ring.interpolate(place)
    return np.asarray(normal if outline.contains(Point(*(foot.coords[0] + 0.005 * normal))) else -normal)


def _bolt_lines(pattern: Pattern) -> list[CrackLine]:
    out, iron = [], iron_of(pattern)
    for bolt in pattern.bolts:
        inward = inward_at(pattern.outline, bolt)
        for turn in (0.0, 0.9, -0.9):
            way = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ inward
            start = np.array(bolt) + (pattern.bolt_radius_m - 2 * OVERHANG_M) * way
            line = CrackLine("", "bolt", tuple(start), tuple(start + (LONG_M + 2 * OVERHANG_M) * way))
            if stays_in(iron, line):
                out.append(line)
                break
    return [replace(line, name=f"bolt {i}") for i, line in enumerate(_spread(out, 4), start=1)]


def _pin_lines(pattern: Pattern) -> list[CrackLine]:
    out = []
    for area in pattern.pin_fields:
        x0, y0, x1, y1 = area.bounds
        for number, share in enumerate((0.17, 0.46, 0.78), start=1):
            x, y = x0 + share * (x1 - x0), y0 + 0.55 * (y1 - y0)
            out.append(CrackLine(f"pin field {number}", "pin", (x, y), (x + LONG_M, y + 0.004)))
    return out


def _rim_lines(pattern: Pattern) -> list[CrackLine]:
    out, iron = [], iron_of(pattern)
    holes = [Point(b) for b in pattern.bolts]
    struts = shapely.unary_union([s.polygon() for s in pattern.struts])
    for around in np.linspace(0.0, 1.0, 40, endpoint=False):
        start = on_edge(pattern, float(around), 0.0)
        inward = inward_at(pattern.outline, start)
        outside = np.array(start) - OVERHANG_M * inward
        line = CrackLine("", "rim", tuple(outside), tuple(np.array(start) + 0.060 * inward))
        path = LineString([line.start, line.end])
        clear = all(path.distance(h) > 0.035 for h in holes) and path.distance(struts) > 0.02
        if clear and stays_in(iron, line):
            out.append(line)
    return [replace(line, name=f"rim {i}") for i, line in enumerate(_spread(out, 4), start=1)]


def add_cracks(pattern: Pattern) -> Pattern:
    """The pattern with crack lines that keep 20 mm from one another."""
    kept: list[CrackLine] = []
    lines = _strut_lines(pattern) + _rim_lines(pattern) + _corner_lines(pattern) + _bolt_lines(pattern)
    for line in lines + _pin_lines(pattern):
        path = LineString([line.start, line.end])
        if all(path.distance(LineString([k.start, k.end])) > 0.02 for k in kept):
            kept.append(line)
    return replace(pattern, lines=kept)
