"""A layout drawn by hand: the file is what was drawn, cut to the edge; the reader of layout files has the last word."""

import json

import pytest

from tapscan.errors import BadLayout
from tapscan.layouts import known_layouts, read_layout
from tapscan.workflow.drawn_layout import (
    Drawing,
    DrawnPlace,
    drawing_from,
    drawing_json,
    drawing_of,
    keep_drawing,
    layout_toml,
)
from tapscan.workflow.own_layouts import layout_at, own_layouts
from tests.every import each

EDGE = ((0.2, 0.1), (0.6, 0.1), (0.6, 0.9), (0.2, 0.9))


def drawn(**changes) -> Drawing:
    places = (DrawnPlace("S1", "rim, bass", (0.3, 0.5)), DrawnPlace("S2", 'the "short" strut\\', (0.6, 0.9)))
    facts = {
        "name": "shop",
        "kind": "grand",
        "note": "",
        "width": 4000.0,
        "height": 3000.0,
        "edge": EDGE,
        "places": places,
    }
    return Drawing(**{**facts, **changes})


def test_the_picture_is_cut_to_the_edge(tmp_path):
    """By hand: the edge is 0.4 of 4000 px wide and 0.8 of 3000 px high."""
    layout = keep_drawing(tmp_path, drawn())
    assert layout.outline is not None
    assert layout.outline.width_to_height == pytest.approx(1600 / 2400, abs=1e-3)
    assert layout.outline.edge == ((0, 0), (1, 0), (1, 1), (0, 1))
    assert [(s.name, s.x, s.y) for s in layout.stations] == [("S1", 0.25, 0.5), ("S2", 1.0, 1.0)]
    assert layout.stations[1].where == 'the "short" strut\\'
    assert own_layouts(tmp_path) == ["shop"]
    assert read_layout(layout_at(tmp_path, "shop")) == layout


@each("name", known_layouts())
def test_a_layout_that_is_changed_by_nothing_stays_the_same(name, tmp_path):
    before = read_layout(name)
    drawing = drawing_from(drawing_json(drawing_of(before, "shop")))
    after = keep_drawing(tmp_path, drawing, was="shop")
    assert before.outline is not None and after.outline is not None
    for a, b in zip(before.stations, after.stations, strict=True):
        assert (a.name, a.where, a.direction, a.trouble, a.states) == (
            b.name,
            b.where,
            b.direction,
            b.trouble,
            b.states,
        )
        assert (a.x, a.y) == pytest.approx((b.x, b.y), abs=1e-4)
    assert before.outline.struts[0][0] == after.outline.struts[0][0]
    assert before.outline.sides == after.outline.sides
    assert len(before.outline.screws) == len(after.outline.screws)
    assert before.outline.width_to_height == pytest.approx(after.outline.width_to_height, abs=1e-3)


BAD = {
    "no edge": {"edge": EDGE[:2]},
    "an edge that is a line": {"edge": ((0.1, 0.5), (0.5, 0.5), (0.9, 0.5))},
    "a place outside": {"places": (DrawnPlace("S1", "rim", (0.1, 0.5)),)},
    "no place": {"places": ()},
    "a place twice": {"places": (DrawnPlace("S1", "rim", (0.3, 0.5)),) * 2},
    "a place without words": {"places": (DrawnPlace("S1", " ", (0.3, 0.5)),)},
    "a name with a _": {"places": (DrawnPlace("S_1", "rim", (0.3, 0.5)),)},
    "an unknown direction": {"places": (DrawnPlace("S1", "rim", (0.3, 0.5), direction="up"),)},
    "an unknown state": {"places": (DrawnPlace("S1", "rim", (0.3, 0.5), states=("asleep",)),)},
    "no name": {"name": ""},
    "a name that is a path": {"name": "../shop"},
    "one of tapscan's own": {"name": "grand-short"},
}


@each("changes", list(BAD.values()), ids=list(BAD))
def test_what_is_no_layout_is_refused_and_nothing_is_written(changes, tmp_path):
    with pytest.raises(BadLayout):
        keep_drawing(tmp_path, drawn(**changes))
    assert not list(tmp_path.rglob("*.toml"))


def test_another_layout_is_never_written_over(tmp_path):
    keep_drawing(tmp_path, drawn())
    with pytest.raises(BadLayout, match="is there already"):
        keep_drawing(tmp_path, drawn(note="another"))
    assert keep_drawing(tmp_path, drawn(note="changed"), was="shop").note == "changed"


def point(value: object) -> str:
    return json.dumps({**json.loads(drawing_json(drawn())), "edge": [value] * 3})


NO_DRAWING = {
    "not JSON": "{",
    "not a drawing": "[1, 2]",
    "a point that is text": point(["0.1", "0.2"]),
    "a point outside": point([0.1, 1.2]),
    "no number": point([0.1, float("nan")]),
    "one figure": point([0.1]),
    "too many points": json.dumps({**json.loads(drawing_json(drawn())), "screws": [[0.3, 0.3]] * 5000}),
    "text that is a list": json.dumps({**json.loads(drawing_json(drawn())), "name": ["a"]}),
    "no size": json.dumps({**json.loads(drawing_json(drawn())), "height": 0}),
}


@each("text", list(NO_DRAWING.values()), ids=list(NO_DRAWING))
def test_what_is_no_drawing_is_refused(text):
    with pytest.raises(BadLayout):
        drawing_from(text)


def test_signs_that_would_break_out_of_a_line_stay_within_it(tmp_path):
    text = layout_toml(drawn(note='"]\nname = "x"'))
    assert text.count("\nname = ") == 3, "the layout's and its two places'"
    with pytest.raises(BadLayout, match="line break"):
        keep_drawing(tmp_path, drawn(note='"]\nname = "x"'))
