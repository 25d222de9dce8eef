"""Places drawn at random for detection studies: many crack lines and chilled regions in one pattern.

``draw_places``   a pattern with up to so many crack lines of each kind, and chilled regions, from a seed
``draw_lines``    the same crack lines alone
``draw_screened``  for single scans: crack lines over struts alone, and as many chilled ends and chilled patches
``draw_ends``     chilled ends of several sizes and no crack line, for a curve of detection against size
``likeness_to_end``  how much of a chilled region an end of the same size has, too

All lines lie in the pattern's one mesh, so they keep clear of one another. The mesh is not that of the shipped tables:
compare a flawed case with the sound case of the same table only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import cycle, islice
from zlib import crc32

import numpy as np
import shapely
from msgspec.structs import replace
from scipy.optimize import brentq
from shapely.affinity import rotate, scale
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from bench.plates.layout import OVERHANG_M, corner_candidates, inward_at, iron_of, on_edge, stays_in, strut_share
from bench.plates.pattern import CrackLine, Pattern
from bench.plates.pin_rows import end_to_end_m

GAP_M = 0.020  # between lines
SAME_HOLE_GAP_M = 0.011  # between lines that leave one hole on opposite sides
CORNER_M, BOLT_M, RIM_M = 0.050, 0.060, 0.060
ALL_SIZES_M = 0.100
PIN_TORN_M = 0.060
STRUT_PART = (0.15, 0.85)  # of the part that crosses the bays
CHILL_AREA = (0.152, 0.19)  # share of the plate's area
CHILL_COUNT = 6
ENDS_TRIED = 36
MOST_OBLONG = 2.5  # of a chilled patch: its length over its width
END_AREAS = (0.04, 0.08, 0.12, 0.17, 0.25)
TRIES = 400
DIRECTIONS, LINES_A_HOLE = 16, 4  # tried at each bolt hole, a round; rounds over the holes
Way = tuple[float, float]


def draw_places(pattern: Pattern, places: int, seed: int, all_sizes: bool = False) -> Pattern:
    """The pattern with at most ``places`` crack lines of each kind and six chilled regions, all from ``seed``.

    ``all_sizes`` : lines of 100 mm; they fit in fewer places than those of a study's sizes.
    """
    rng = _of_places(pattern, seed)
    lines = _lines(pattern, rng, places, all_sizes)
    regions = {f"region {i}": area for i, area in enumerate(_chills(pattern, rng, CHILL_COUNT), start=1)}
    return replace(pattern, lines=lines, chill_regions=regions)


def draw_lines(pattern: Pattern, places: int, seed: int) -> list[CrackLine]:
    """The crack lines of ``draw_places`` alone; regions take longer."""
    return _lines(pattern, _of_places(pattern, seed), places, False)


def _of_places(pattern: Pattern, seed: int) -> np.random.Generator:
    return np.random.default_rng([seed, crc32(pattern.name.encode())])


def _lines(pattern: Pattern, rng: np.random.Generator, places: int, all_sizes: bool) -> list[CrackLine]:
    kept: list[CrackLine] = []
    for kind, candidates in (
        ("bolt", _bolts(pattern, rng, ALL_SIZES_M if all_sizes else BOLT_M)),
        ("corner", _corners(pattern, rng, ALL_SIZES_M if all_sizes else CORNER_M)),
        ("pin", _pins(pattern, rng, end_to_end_m(ALL_SIZES_M if all_sizes else PIN_TORN_M))),
        ("rim", _rims(pattern, rng)),
        ("strut", _struts(pattern, rng)),
    ):
        kept += _take(kind, candidates, kept, places)
    return kept


def draw_screened(pattern: Pattern, places: int, seed: int) -> Pattern:
    """Up to so many crack lines over struts, so many chilled ends ("region 1") and so many chilled patches ("patch 1")."""
    rng = np.random.default_rng([seed, 4, crc32(pattern.name.encode())])
    lines = _take("strut", _struts(pattern, rng), [], places)
    ends = {f"region {i}": area for i, area in enumerate(_chills(pattern, rng, places), start=1)}
    patches = {f"patch {i}": _patch(pattern, rng) for i in range(1, places + 1)}
    return replace(pattern, lines=lines, chill_regions=ends | patches)


def draw_ends(pattern: Pattern, places: int, seed: int) -> Pattern:
    """So many ends, each chilled at each of END_AREAS; they are called "end 2, 8 %"."""
    angles = _angles(np.random.default_rng([seed, 3, crc32(pattern.name.encode())]), places)
    regions = {
        f"end {i}, {100 * share:.0f} %": cut_off(pattern, float(angle), share)
        for i, angle in enumerate(angles, start=1)
        for share in END_AREAS
    }
    return replace(pattern, lines=[], chill_regions=regions)


def _take(kind: str, candidates: Iterator[CrackLine], kept: list[CrackLine], places: int) -> list[CrackLine]:
    """The first ``places`` candidates that keep clear of all lines so far, numbered."""
    out: list[CrackLine] = []
    for line in islice(candidates, TRIES):
        path = LineString([line.start, line.end])
        others = [
            (LineString([k.start, k.end]), SAME_HOLE_GAP_M if kind == k.kind == "bolt" else GAP_M) for k in kept + out
        ]
        if all(path.distance(other) > gap for other, gap in others):
            words = {"pin": "pin field", "strut": line.name}.get(kind, kind)
            out.append(replace(line, name=words if kind == "strut" else f"{words} {len(out) + 1}"))
        if len(out) == places:
            break
    return out


def _struts(pattern: Pattern, rng: np.random.Generator) -> Iterator[CrackLine]:
    for number in cycle(rng.permutation(len(pattern.struts))):
        strut = pattern.struts[number]
        share = round(float(rng.uniform(*STRUT_PART)), 2)
        a, b = strut.across(strut_share(pattern, strut, share), OVERHANG_M)
        yield CrackLine(f"{strut.name} at {share:.2f}", "strut", a, b, strut.width_m / 8)


def _corners(pattern: Pattern, rng: np.random.Generator, length_m: float) -> Iterator[CrackLine]:
    lines = corner_candidates(pattern, length_m)
    return (lines[i] for i in rng.permutation(len(lines)))


def _bolts(pattern: Pattern, rng: np.random.Generator, length_m: float) -> Iterator[CrackLine]:
    """One line a hole, then further ones, each in the likeliest directions most often.

    At a free edge the iron can only be pulled along the edge, so a crack at ``angle`` from straight across it is opened by
    cos(angle) squared of that pull: directions are drawn with this density, and those that leave the iron fall out.
    """
    iron = iron_of(pattern)
    for _ in range(LINES_A_HOLE):
        for number in rng.permutation(len(pattern.bolts)):
            centre = np.array(pattern.bolts[number])
            inward = inward_at(pattern.outline, pattern.bolts[number])
            angles, chance = rng.uniform(0.0, 2.0 * np.pi, DIRECTIONS), rng.uniform(0.0, 1.0, DIRECTIONS)
            for angle in angles[chance < np.cos(angles) ** 2]:
                way = np.cos(angle) * inward + np.sin(angle) * np.array([-inward[1], inward[0]])
                start = centre + (pattern.bolt_radius_m - 2 * OVERHANG_M) * way
                line = _line("bolt", start, start + (length_m + 2 * OVERHANG_M) * way)
                if stays_in(iron, line):
                    yield line
                    break


def _pins(pattern: Pattern, rng: np.random.Generator, length_m: float) -> Iterator[CrackLine]:
    """From pin hole to pin hole, within 17 degrees of the rows."""
    while pattern.pin_fields:
        area = pattern.pin_fields[rng.integers(len(pattern.pin_fields))]
        x0, y0, x1, y1 = area.bounds
        start = np.array([rng.uniform(x0, x1), rng.uniform(y0, y1)])
        angle = rng.uniform(-0.3, 0.3)
        line = _line("pin", start, start + length_m * np.array([np.cos(angle), np.sin(angle)]))
        if area.buffer(-0.01).contains(LineString([line.start, line.end])):
            yield line


def _rims(pattern: Pattern, rng: np.random.Generator) -> Iterator[CrackLine]:
    iron = iron_of(pattern)
    holes = [Point(b) for b in pattern.bolts]
    struts = shapely.unary_union([s.polygon() for s in pattern.struts])
    for around in rng.uniform(0.0, 1.0, TRIES):
        start = np.array(on_edge(pattern, float(around), 0.0))
        inward = inward_at(pattern.outline, (float(start[0]), float(start[1])))
        line = _line("rim", start - OVERHANG_M * inward, start + RIM_M * inward)
        path = LineString([line.start, line.end])
        clear = all(path.distance(h) > 0.035 for h in holes) and path.distance(struts) > 0.02
        if clear and stays_in(iron, line):
            yield line


def _line(kind: str, start: np.ndarray, end: np.ndarray) -> CrackLine:
    return CrackLine("", kind, (float(start[0]), float(start[1])), (float(end[0]), float(end[1])))


def _chills(pattern: Pattern, rng: np.random.Generator, count: int) -> list[Polygon]:
    """Ends of the plate, each cut off by a straight line: iron at an edge cools first."""
    return [cut_off(pattern, float(angle), float(rng.uniform(*CHILL_AREA))) for angle in _angles(rng, count)]


def _angles(rng: np.random.Generator, count: int) -> np.ndarray:
    return rng.uniform(0.0, 2.0 * np.pi) + 2.0 * np.pi * np.arange(count) / count


def _patch(pattern: Pattern, rng: np.random.Generator) -> Polygon:
    """An ellipse about any point of the iron; near an edge it may come close to an end."""
    metal, share = pattern.metal(), float(rng.uniform(*CHILL_AREA))
    west, south, east, north = metal.bounds
    middle = Point(-1e9, 0.0)
    while not metal.contains(middle):
        middle = Point(rng.uniform(west, east), rng.uniform(south, north))
    longer, turned = float(np.sqrt(rng.uniform(1.0, MOST_OBLONG))), float(rng.uniform(0.0, 180.0))

    def ellipse(radius_m: float) -> Polygon:
        return rotate(scale(middle.buffer(radius_m, 32), longer, 1 / longer), turned)

    return ellipse(_reach_of(metal, ellipse, share, 0.0, 5.0))


def cut_off(pattern: Pattern, angle: float, area_share: float) -> Polygon:
    """The end of the plate towards ``angle`` (rad from the x axis) that holds ``area_share`` of its iron."""
    return _end_of(pattern.metal(), angle, area_share)


def _end_of(metal: BaseGeometry, angle: float, area_share: float) -> Polygon:
    way = np.array([np.cos(angle), np.sin(angle)])
    side = np.array([-way[1], way[0]])
    middle = np.array(metal.centroid.coords[0])

    def short_of(reach_m: float) -> Polygon:
        foot = middle - reach_m * way
        return Polygon([foot - 5 * side, foot + 5 * side, foot + 5 * side + 5 * way, foot - 5 * side + 5 * way])

    return short_of(_reach_of(metal, short_of, area_share, -3.0, 3.0))


def likeness_to_end(pattern: Pattern, region: Polygon) -> float:
    """Largest share of the region's iron that an end of the same size has, too; 1 for an end."""
    metal = pattern.metal()
    iron = metal.intersection(region)
    return max(_shared(metal, iron, float(a)) for a in np.linspace(0.0, 2.0 * np.pi, ENDS_TRIED, endpoint=False))


def _shared(metal: BaseGeometry, iron: BaseGeometry, angle: float) -> float:
    """How much of a region's iron the end towards ``angle`` has, too, that holds as much; turned, an end is a rectangle."""
    turned, part = (rotate(g, -angle, origin=metal.centroid, use_radians=True) for g in (metal, iron))
    west, south, east, north = turned.bounds

    def beyond(geometry: BaseGeometry, x_m: float) -> float:
        return float(shapely.clip_by_rect(geometry, x_m, south - 1.0, east + 1.0, north + 1.0).area)

    x_m = float(brentq(lambda x: beyond(turned, x) - iron.area, west, east, xtol=1e-7))
    return beyond(part, x_m) / iron.area


def _reach_of(
    metal: BaseGeometry, shape: Callable[[float], Polygon], area_share: float, low_m: float, high_m: float
) -> float:
    """At which a shape that grows with its reach holds so much of the iron."""
    area = area_share * metal.area
    return float(brentq(lambda reach_m: metal.intersection(shape(reach_m)).area - area, low_m, high_m, xtol=1e-11))
