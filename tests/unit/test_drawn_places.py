"""Places drawn for detection studies: enough of each, apart from one another, the size they say, and repeatable."""

import itertools
from collections import Counter

import numpy as np
import pytest

pytest.importorskip("skfem", reason="scikit-fem is a development dependency")
pytest.importorskip("shapely", reason="shapely is a development dependency")
from shapely.geometry import LineString, Point

from bench.plates.cases import chill_of, cut_sides, inside, many_flaws, shipped_flaws
from bench.plates.drawn import (
    CHILL_AREA,
    SAME_HOLE_GAP_M,
    cut_off,
    draw_lines,
    draw_places,
    draw_screened,
    likeness_to_end,
)
from bench.plates.layout import inward_at
from bench.plates.mesh import triangulate
from bench.plates.pattern import PIN_HOLE_M, PIN_HOLE_MASS, PIN_PITCH_M, Pattern
from bench.plates.patterns import NAMES, build
from bench.plates.pin_rows import drill_row, end_to_end_m
from tests.every import each

KINDS = ("strut", "corner", "bolt", "rim", "pin")
SIDE_M = 0.004  # a crack ends at a corner of the mesh; sides along it are about 5 mm


@pytest.fixture(scope="module")
def drawn() -> dict[str, Pattern]:
    return {name: draw_places(build(name), 10, 1) for name in NAMES}


def test_there_are_forty_places_of_each_flaw_over_the_patterns(drawn):
    counts = Counter(line.kind for pattern in drawn.values() for line in pattern.lines)
    assert set(counts) == set(KINDS)
    assert all(counts[kind] >= 40 for kind in KINDS)


@each("name", NAMES)
def test_lines_keep_clear_of_one_another(drawn, name):
    paths = [(c.kind, LineString([c.start, c.end])) for c in drawn[name].lines]
    for (kind, a), (other, b) in itertools.combinations(paths, 2):
        assert a.distance(b) > (SAME_HOLE_GAP_M if kind == other == "bolt" else 0.02)


@each("name", NAMES)
def test_labels_are_unique_and_of_the_shipped_form(drawn, name):
    labels = [flaw.label for flaw in many_flaws(drawn[name], "study")]
    assert len(set(labels)) == len(labels)
    assert labels[0] == "sound"
    told = [tuple(label.split(", ")) for label in labels]
    assert any(size == "width 25 %" and at.startswith("strut 2 at 0.") for size, *places in told for at in places)
    assert {("bolt 60 mm", "bolt 1"), ("inner corner 30 mm", "corner 9"), ("rim 30 mm", "rim 10")} <= set(told)
    assert labels[-6:] == [f"chilled region {i}" for i in range(1, 7)]


@each("name", NAMES)
def test_chilled_regions_cover_more_than_fifteen_per_cent(drawn, name):
    metal = drawn[name].metal()
    shares = [metal.intersection(area).area / metal.area for area in drawn[name].chill_regions.values()]
    assert len(shares) == 6
    assert all(CHILL_AREA[0] - 0.001 < share < CHILL_AREA[1] for share in shares)


@pytest.fixture(scope="module", params=["concert-grand", "parlour-grand", "upright-full"])
def screened(request) -> Pattern:
    return draw_screened(build(request.param), 14, 2)


def test_single_scans_are_tried_on_fourteen_struts_ends_and_patches(screened):
    assert [line.kind for line in screened.lines] == ["strut"] * 14
    labels = [flaw.label for flaw in many_flaws(screened, "screened")]
    kinds = Counter(x.split(",")[0] for x in labels if "," in x)
    assert kinds == {"severed": 14, "depth 10 %": 14, "depth 25 %": 14, "depth 50 %": 14}
    assert labels[-28:] == [f"chilled {shape} {i}" for shape in ("region", "patch") for i in range(1, 15)]


def test_patches_hold_their_share_of_the_iron_and_some_are_no_ends(screened):
    metal = screened.metal()
    patches = [area for name, area in screened.chill_regions.items() if name.startswith("patch")]
    shares = [metal.intersection(p).area / metal.area for p in patches]
    assert all(CHILL_AREA[0] - 0.001 < share < CHILL_AREA[1] for share in shares)
    shape_correlation = [likeness_to_end(screened, p) for p in patches[:4]]
    assert min(shape_correlation) < 0.6 and max(shape_correlation) < 1.0
    assert likeness_to_end(screened, screened.chill_regions["region 1"]) > 0.9


def test_a_cut_off_end_lies_on_its_side():
    pattern = build("small-grand")
    metal = pattern.metal()
    bass, treble = (metal.intersection(cut_off(pattern, angle, 0.16)) for angle in (np.pi, 0.0))
    assert bass.area / metal.area == pytest.approx(0.16, abs=2e-4)  # the drawing is kept on a grid of 0.1 mm
    assert bass.centroid.x < metal.centroid.x < treble.centroid.x


def test_the_same_seed_draws_the_same_places_and_another_seed_others(drawn):
    again, other = draw_places(build("small-grand"), 10, 1), draw_lines(build("small-grand"), 10, 2)
    assert again.lines == drawn["small-grand"].lines == draw_lines(build("small-grand"), 10, 1)
    assert again.chill_regions == drawn["small-grand"].chill_regions
    free = [{line.start for line in lines if line.kind in ("bolt", "pin", "rim")} for lines in (again.lines, other)]
    assert not free[0] & free[1]
    strut = [{line.start for line in lines if line.kind == "strut"} for lines in (again.lines, other)]
    assert len(strut[0] & strut[1]) < 3  # drawn to a hundredth of the length: one may fall together


@pytest.mark.parametrize(
    ("torn_m", "reach_m"),
    [(0.005, 0.013), (0.010, 0.026), (0.015, 0.031), (0.030, 0.062), (0.060, 0.116), (0.100, 0.188)],
)
def test_a_crack_along_pin_holes_of_8_at_18_mm_reaches_as_far_as_counting_by_hand(torn_m, reach_m):
    assert (PIN_HOLE_M, PIN_PITCH_M) == (0.008, 0.018)
    assert end_to_end_m(torn_m) == pytest.approx(reach_m)


def test_the_pitch_of_the_pin_holes_agrees_with_the_iron_they_are_said_to_take():
    taken = np.pi * PIN_HOLE_M**2 / 4 / PIN_PITCH_M**2
    assert taken == pytest.approx(1.0 - PIN_HOLE_MASS, abs=0.02)


def test_only_pin_cracks_that_fit_their_line_are_asked_for(drawn):
    shipped, study = many_flaws(build("small-grand")), many_flaws(drawn["small-grand"], "study")
    assert {flaw.size for flaw in shipped if flaw.kind == "pin"} == {0.03}  # 62 mm end to end, on lines of 100 mm
    assert {flaw.size for flaw in study if flaw.kind == "pin"} == {0.03, 0.06}
    assert [f.size for f in shipped_flaws(build("small-grand")) if f.kind == "pin"] == [0.03]


@pytest.mark.parametrize("torn_m", [0.030, 0.055])
def test_a_drilled_row_has_its_holes_and_its_line_tears_the_iron_between_them(torn_m):
    pattern = build("upright-full")
    drilled = drill_row(pattern, next(k for k in pattern.lines if k.kind == "pin"), torn_m)
    count = round(np.ceil(torn_m / 0.010)) + 1
    assert len(drilled.pin_holes) == count
    row = next(k for k in drilled.lines if k.kind == "pin")
    torn = drilled.metal().intersection(LineString([row.start, row.end])).length
    assert torn == pytest.approx(0.010 * (count - 1), rel=0.06)  # holes drawn with eight sides: .3 mm at most a side


def test_bolt_hole_cracks_run_across_the_edge_more_often_than_along_it():
    """Directions drawn evenly would lie within 45 degrees of straight across in half the cases."""
    close = []
    for name in NAMES:
        for seed in range(1, 4):
            pattern = build(name)
            for line in (k for k in draw_lines(pattern, 10, seed) if k.kind == "bolt"):
                bolt = min(pattern.bolts, key=lambda b: Point(b).distance(Point(line.start)))
                way = np.subtract(line.end, line.start) / np.hypot(*np.subtract(line.end, line.start))
                close.append(abs(way @ inward_at(pattern.outline, bolt)) > np.sqrt(0.5))
    # cos squared: .5 + 1 / pi = .82 within 45 degrees; lines that leave the iron take some straight ones away.
    assert np.mean(close) > 0.7


def test_a_flaw_opens_the_length_it_says_and_a_region_hardens_its_own_triangles(drawn):
    pattern = drawn["upright-full"]
    mesh = triangulate(
        pattern, rounds=10
    )  # lines are kept from the first round on; what settles is the web between them
    for flaw in many_flaws(pattern, "study"):
        if flaw.kind == "chill":
            area = inside(mesh, chill_of(pattern, flaw)).mean()
            assert 0.05 < area < 0.45  # share of triangles, not of area: they differ in size
            continue
        ends = mesh.points_m[:, cut_sides(mesh, flaw)]
        opened = np.hypot(*(ends[:, 1] - ends[:, 0])).sum()
        strut = next((s for s in pattern.struts if flaw.line.startswith(s.name + " at")), None)
        share = {"depth": 1.0, "width": flaw.size, "severed": 1.0}.get(flaw.kind)
        plain = end_to_end_m(flaw.size) if flaw.kind == "pin" else flaw.size
        wanted = plain if strut is None else strut.width_m * share
        assert opened == pytest.approx(wanted, abs=SIDE_M)
