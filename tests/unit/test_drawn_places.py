"""Places drawn for detection studies: enough of each, apart from one another, the size they say, and repeatable."""

import itertools
from collections import Counter

import numpy as np
import pytest

pytest.importorskip("skfem", reason="scikit-fem is a development dependency")
pytest.importorskip("shapely", reason="shapely is a development dependency")
from shapely.geometry import LineString

from bench.plates.cases import chill_of, cut_sides, inside, many_flaws
from bench.plates.drawn import CHILL_AREA, SAME_HOLE_GAP_M, cut_off, draw_places
from bench.plates.mesh import triangulate
from bench.plates.pattern import Pattern
from bench.plates.patterns import NAMES, build

KINDS = ("strut", "corner", "bolt", "rim", "pin")
SIDE_M = 0.004  # a crack ends at a corner of the mesh; sides along it are about 5 mm


@pytest.fixture(scope="module")
def drawn() -> dict[str, Pattern]:
    return {name: draw_places(build(name), 10, seed=1) for name in NAMES}


def test_there_are_forty_places_of_each_flaw_over_the_patterns(drawn):
    counts = Counter(line.kind for pattern in drawn.values() for line in pattern.lines)
    assert set(counts) == set(KINDS)
    assert all(counts[kind] >= 40 for kind in KINDS)


@pytest.mark.parametrize("name", NAMES)
def test_lines_keep_clear_of_one_another(drawn, name):
    paths = [(c.kind, LineString([c.start, c.end])) for c in drawn[name].lines]
    for (kind, a), (other, b) in itertools.combinations(paths, 2):
        assert a.distance(b) > (SAME_HOLE_GAP_M if kind == other == "bolt" else 0.02)


@pytest.mark.parametrize("name", NAMES)
def test_labels_are_unique_and_of_the_shipped_form(drawn, name):
    labels = [flaw.label for flaw in many_flaws(drawn[name], study=True)]
    assert len(set(labels)) == len(labels)
    assert labels[0] == "sound"
    assert any(label.startswith("width 25 %, strut 2 at 0.") for label in labels)
    assert {"bolt 60 mm, bolt 1", "inner corner 30 mm, corner 9", "rim 30 mm, rim 10"} <= set(labels)
    assert labels[-6:] == [f"chilled region {i}" for i in range(1, 7)]


@pytest.mark.parametrize("name", NAMES)
def test_chilled_regions_cover_more_than_fifteen_per_cent(drawn, name):
    metal = drawn[name].metal()
    shares = [metal.intersection(area).area / metal.area for area in drawn[name].chill_regions.values()]
    assert len(shares) == 6
    assert all(CHILL_AREA[0] - 0.001 < share < CHILL_AREA[1] for share in shares)


def test_a_cut_off_end_lies_on_its_side():
    pattern = build("small-grand")
    metal = pattern.metal()
    bass, treble = (metal.intersection(cut_off(pattern, angle, 0.16)) for angle in (np.pi, 0.0))
    assert bass.area / metal.area == pytest.approx(0.16, abs=2e-4)  # the drawing is kept on a grid of 0.1 mm
    assert bass.centroid.x < metal.centroid.x < treble.centroid.x


def test_the_same_seed_draws_the_same_places_and_another_seed_others(drawn):
    again, other = (draw_places(build("small-grand"), 10, seed) for seed in (1, 2))
    assert again.lines == drawn["small-grand"].lines
    assert not {line.start for line in other.lines} & {line.start for line in again.lines if line.kind != "corner"}


def test_a_flaw_opens_the_length_it_says_and_a_region_hardens_its_own_triangles(drawn):
    pattern = drawn["upright-three-quarter"]
    mesh = triangulate(pattern)
    for flaw in many_flaws(pattern, study=True):
        if flaw.kind == "chill":
            area = inside(mesh, chill_of(pattern, flaw)).mean()
            assert 0.05 < area < 0.45  # share of triangles, not of area: they differ in size
            continue
        ends = mesh.points_m[:, cut_sides(mesh, flaw)]
        opened = np.hypot(*(ends[:, 1] - ends[:, 0])).sum()
        strut = next((s for s in pattern.struts if flaw.line.startswith(s.name + " at")), None)
        share = {"depth": 1.0, "width": flaw.size, "severed": 1.0}.get(flaw.kind)
        wanted = flaw.size if strut is None else strut.width_m * share
        assert opened == pytest.approx(wanted, abs=SIDE_M)
