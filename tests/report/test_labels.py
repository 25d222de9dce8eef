"""Names on a map: none lies on another, on a mark or on a strut's number, and each can be told to belong to its mark. Ink as matplotlib draws DejaVu Serif."""

import re
import xml.etree.ElementTree as ET
from functools import cache
from itertools import combinations
from math import dist, hypot

import pytest
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath
from msgspec.structs import replace

from tapscan.demo import shop as demo
from tapscan.layouts import known_layouts, layout_from_text, read_layout
from tapscan.places import Layout, Member, Outline
from tapscan.records import LikelyPlace, Whereabouts
from tapscan.report.drawing.labels import STRUT_FONT, labels, placed, strut_numbers
from tapscan.report.drawing.plate_drawing import FONT, Canvas, apart
from tapscan.report.drawing.plate_map import LARGE, RADIUS, SMALL, belief_map, station_map
from tapscan.report.drawing.tap_map import WIDTH
from tests.every import each

GRAND = read_layout("grand-short")
EDGE = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))
HEAVY = 1.6  # a diamond is so much larger than a ring


@cache
def ink(text: str, size: float) -> tuple[float, float, float, float]:
    """Left, upper, right, lower edge about (0, 0): middle of the line, its foot. This lettering is wider than most a page may fall back to."""
    box = TextPath((0, 0), text, size=size, prop=FontProperties(family="DejaVu Serif")).get_extents()
    half = box.width / 2
    return -half, -box.y1, half, -box.y0


def inked(drawn: ET.Element) -> tuple[float, float, float, float]:
    x, y = float(drawn.get("x")), float(drawn.get("y"))
    left, upper, right, lower = ink(drawn.text, float(drawn.get("font-size", FONT)))
    return x + left, y + upper, x + right, y + lower


def meet(a, b) -> bool:
    return min(a[2], b[2]) > max(a[0], b[0]) and min(a[3], b[3]) > max(a[1], b[1])


def spots_of(layout: Layout, canvas: Canvas, every: int):
    """Marks as a report has them, each `every`-th a diamond."""
    heavy = [bool(every) and k % every == 0 for k in range(len(layout.stations))]
    radii = [RADIUS * (HEAVY if h else 1) for h in heavy]
    places = apart([canvas.at((s.x, s.y)) for s in layout.stations], radii)
    return [(s.name, at, r, h) for s, at, r, h in zip(layout.stations, places, radii, heavy, strict=True)]


@cache
def shipped() -> list[Layout]:
    """The layouts, and the demo's own plates."""
    own = [layout_from_text(demo.layout_text(plate), plate.pattern) for plate in demo.PLATES]
    return [read_layout(name) for name in known_layouts()] + list({one.name: one for one in own}.values())


@each(("width", "every"), [(SMALL, 0), (SMALL, 3), (LARGE, 0), (WIDTH, 0)])
def test_no_name_lies_on_another_or_on_a_mark(width, every):
    for layout in shipped():
        canvas = Canvas(layout, width)
        spots = spots_of(layout, canvas, every)
        told = ET.fromstring(f"<svg>{''.join(labels(canvas, spots))}</svg>")
        names = {t.text: inked(t) for t in told.iter("text") if t.get("class") != "strut"}
        numbers = [inked(t) for t in told.iter("text") if t.get("class") == "strut"]
        assert set(names) == {s.name for s in layout.stations}, layout.name
        assert len(numbers) == len([n for n, *_ in layout.outline.struts if n.split()[-1].isdecimal()])
        marks = {name: (x - r, y - r, x + r, y + r) for name, (x, y), r, _ in spots}
        assert [(a, b) for a, b in combinations(names, 2) if meet(names[a], names[b])] == [], layout.name
        assert [(a, b) for a in names for b in names if a != b and meet(names[a], marks[b])] == [], layout.name
        assert [a for a in names if any(meet(names[a], n) for n in numbers)] == [], layout.name
        assert all(x > 0 and y > 0 and u < width and v < canvas.height for x, y, u, v in names.values())


@each("width", [SMALL, LARGE])
def test_a_name_stands_nearest_its_own_mark_or_a_line_leads_to_it(width):
    puzzling = []
    for layout in shipped():
        canvas = Canvas(layout, width)
        spots = spots_of(layout, canvas, 0)
        numbers = [(x - 4, y - 5, x + 4, y + 5) for _, (x, y) in strut_numbers(canvas, [at for _, at, _, _ in spots])]
        for (name, at, r, _), one in zip(spots, placed(canvas, spots, numbers), strict=True):
            left, upper, right, lower = one.box

            def gap(p, radius, x=(left, right), y=(upper, lower)):
                return hypot(max(x[0] - p[0], 0, p[0] - x[1]), max(y[0] - p[1], 0, p[1] - y[1])) - radius

            nearest = min((gap(p, q), other) for other, p, q, _ in spots)
            if one.leader:
                assert dist(one.leader[0], at) == pytest.approx(r), name
            elif nearest[1] != name:
                puzzling.append((layout.name, name, nearest[1]))
    assert puzzling == []


@each("every", [0, 2, 3, 4])
def test_no_line_runs_through_another_mark_or_another_name(every):
    """Walked along in small steps, as the eye does."""
    lines, through = 0, []
    for layout in shipped():
        canvas = Canvas(layout, SMALL)
        spots = spots_of(layout, canvas, every)
        stands = placed(canvas, spots)
        for i, line in [(i, one.leader) for i, one in enumerate(stands) if one.leader]:
            lines += 1
            (a, b), (c, d) = line
            steps = [(a + k / 50 * (c - a), b + k / 50 * (d - b)) for k in range(51)]
            for j, (name, at, r, _) in enumerate(spots):
                x, y, u, v = stands[j].box
                hit = any(dist(p, at) < r or (x < p[0] < u and y < p[1] < v) for p in steps)
                through += [(layout.name, spots[i][0], name)] if hit and i != j else []
    assert lines > 5 and through == []


def test_a_name_in_a_crowd_stands_off_with_a_line_to_its_mark():
    crowd = [(f"S{i}", (150.0 + 12 * (i % 4), 150.0 + 12 * (i // 4)), 5.5, False) for i in range(16)]
    drawn = [str(t) for t in labels(Canvas(GRAND, 300.0), crowd)]
    assert any(t.startswith("<path") for t in drawn)
    alone = labels(Canvas(GRAND, 300.0), crowd[:1])
    assert not any(str(t).startswith("<path") for t in alone)


def test_struts_carry_their_numbers_away_from_the_marks():
    """The words say strut 6; who looks at the map had to count."""
    struts = tuple(Member(f"strut {n}", ((0.1 * n, 0.1), (0.1 * n, 0.9))) for n in range(1, 7))
    outline = Outline("grand", 1.0, EDGE, members=(*struts, Member("brace", ((0.8, 0.1), (0.8, 0.9)))))
    layout = replace(GRAND, outline=outline, stations=tuple(replace(s, x=0.3, y=0.5) for s in GRAND.stations[:1]))
    canvas = Canvas(layout, SMALL)
    drawn = [
        t for t in ET.fromstring(str(station_map(layout, {}, "m", SMALL))).iter("text") if t.get("class") == "strut"
    ]
    assert [t.text for t in drawn] == ["1", "2", "3", "4", "5", "6"]
    at = [(float(t.get("x")), float(t.get("y"))) for t in drawn]
    assert [x for x, _ in at] == pytest.approx([canvas.at(s.points[0])[0] for s in struts], abs=0.1)
    assert min(dist(p, canvas.at((0.3, 0.5))) for p in at) > RADIUS + STRUT_FONT
    place = LikelyPlace("strut 2", "strut", "keyboard end", 0.5, 0.5, 0.9, 0.1)
    drawn = ET.fromstring(str(belief_map(layout, Whereabouts((place,), "drops"), "b")))
    assert [t.text for t in drawn.iter("text") if t.get("class") == "strut"] == ["1", "2", "3", "4", "5", "6"]
    assert "A" in {t.text for t in drawn.iter("text")}, "a figure would be read as a strut's"


def test_a_strut_that_a_place_names_carries_that_number(tmp_path):
    """The places' words and the drawing count from the same side: a place said to be on strut 2 is nearest to the figure 2."""
    counted = 0
    for layout in shipped():
        canvas = Canvas(layout, SMALL)
        struts = {n: (canvas.at(a), canvas.at(b)) for n, a, b in layout.outline.struts}
        drawn = {f"strut {n}": at for n, at in strut_numbers(canvas, [])}
        assert set(drawn) == {n for n in struts if n.split()[-1].isdecimal()}
        for station in layout.stations:
            if said := re.match(r"strut \d+", station.where):
                at = canvas.at((station.x, station.y))
                assert min(struts, key=lambda n: _off(at, *struts[n])) == said[0], station
                assert _off(drawn[said[0]], *struts[said[0]]) < 1
                counted += 1
    assert counted > 20


def _off(p, a, b) -> float:
    """Units from a point to a line from a to b."""
    t = ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / (dist(a, b) ** 2)
    t = min(max(t, 0.0), 1.0)
    return dist(p, (a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])))
