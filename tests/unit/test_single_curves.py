"""Curves of single scans: the tables they rest on, and the page that shows them."""

import numpy as np

from bench.plates.drawn import END_AREAS, draw_ends
from bench.plates.patterns import build
from bench.single_curves import DOCS, KINDS, RESULTS, page
from bench.table_folder import with_places
from tapscan.demo.plates import load_table


def test_ends_hold_the_share_of_the_iron_that_their_name_says():
    pattern = draw_ends(build("parlour-grand"), 4, 1)
    metal = pattern.metal()
    assert len(pattern.chill_regions) == 4 * len(END_AREAS)
    for name, region in pattern.chill_regions.items():
        share = float(name.removesuffix(" %").split(", ")[1])
        assert abs(100 * metal.intersection(region).area / metal.area - share) < 0.01
    smaller, larger = (pattern.chill_regions[f"end 2, {100 * a:.0f} %"] for a in (END_AREAS[0], END_AREAS[-1]))
    assert metal.intersection(smaller).within(metal.intersection(larger).buffer(1e-9))


def test_fewer_places_are_the_first_ones():
    table = load_table("parlour-grand")
    few = with_places(table, 5)
    assert few.station_names == table.station_names[:5]
    assert few.arrays["station_shape"].shape[-1] == 5
    assert np.array_equal(few.arrays["station_shape"], table.arrays["station_shape"][..., :5])


def test_the_page_shows_the_curves_that_the_bench_wrote():
    text, figures = (DOCS / "rules.md").read_text(encoding="utf-8"), RESULTS.read_text(encoding="utf-8")
    assert page(text, figures) == text, "stale: python -m bench.single_curves"
    assert all(words in figures for words, _ in KINDS.values())
