"""Station layouts: those that ship are whole and keep to their promises, a bad one is refused with what would mend it."""

import re
from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon

from tapscan.demo.shop import PLATES
from tapscan.demo.shop import layout_text as demo_layout_text
from tapscan.errors import BadLayout
from tapscan.layouts import MOST_PLACES, known_layouts, known_outlines, layout_from_text, layout_text, read_layout
from tapscan.model.rough import rough_model
from tapscan.places import IN_PIANO, STATES
from tapscan.workflow.where import models_folder
from tests.every import each

BARE = tuple(s for s in STATES if s not in IN_PIANO)
STATION = '[[station]]\nname = "A"\nwhere = "rim"\nx = 0.1\ny = 0.9\n'
GOOD = 'name = "mine"\nkind = "grand"\n' + STATION
OUTLINE = "[outline]\nwidth_to_height = 1.5\nedge = [[0, 0], [1, 0], [0.5, 1.0]]\n"
MEMBER = '[[outline.member]]\nname = "m"\n'
PLACES = {"short": 8, "long": 24, "dense": 36}
LONG = [name for name in known_layouts() if name.endswith("-long")]
NEAR_STRINGS = ("pin", "agraffe", "capo", "pressure", "flank", "end,", "bay corner", "flange")


@each("name", known_layouts())
def test_layouts_that_ship(name):
    layout = read_layout(name)
    assert layout.name == name
    assert layout.kind in name and layout.outline is not None
    assert len(layout.stations) == PLACES[name.rpartition("-")[2]]
    assert all(s.where and s.trouble and s.direction for s in layout.stations)
    assert len({s.where for s in layout.stations}) == len(layout.stations)
    assert [s.name for s in layout.stations] == [f"S{k}" for k in range(1, len(layout.stations) + 1)]


def test_each_kind_of_plate_has_a_short_a_long_and_a_dense_layout():
    kinds = ("grand", "grand-three-quarter", "upright", "upright-three-quarter")
    assert set(known_layouts()) == {f"{k}-{size}" for k in kinds for size in PLACES}
    assert set(known_outlines()) == set(kinds)


@each("name", LONG)
def test_a_short_scan_can_be_set_beside_a_long_one(name):
    assert read_layout(name.replace("-long", "-short")).stations == read_layout(name).stations[:8]


@each("name", LONG)
def test_a_dense_one_fills_the_gaps_of_a_long_one(name):
    long, dense = read_layout(name), read_layout(name.replace("-long", "-dense"))
    assert dense.stations[:24] == long.stations
    assert set(dense.allowed("strung")) == set(long.allowed("strung"))
    wide, placed = long.outline.width_to_height, {s.name: s for s in long.stations}
    for new in dense.stations[24:]:
        a, b = (placed[n] for n in re.fullmatch(r"halfway between (S\d+) and (S\d+)", new.where).groups())
        assert abs(new.x - (a.x + b.x) / 2) < 0.002 and abs(new.y - (a.y + b.y) / 2) < 0.002
        assert min(np.hypot((new.x - s.x) * wide, new.y - s.y) for s in long.stations) > 0.05


@each("name", LONG)
def test_the_places_where_trouble_is_common_are_all_there(name):
    where = " | ".join(f"{s.where} {s.direction}" for s in read_layout(name).stations)
    wanted = ["treble-break strut", "capo", "agraffe flange", "nose-bolt boss", "plate-screw hole", "bay corner"]
    wanted += ["hitch-pin rim", "bass corner", "sideways", "middle"]
    wanted += (
        ["tail", "front end", "rear end"] if name.startswith("grand") else ["bottom edge", "upper end", "lower end"]
    )
    wanted += ["pin block"] if "three-quarter" in name else ["between the pins"]
    assert [words for words in wanted if words not in where] == []


@each("name", known_layouts())
def test_stations_stand_on_iron_and_apart(name):
    layout = read_layout(name)
    drawn = layout.outline
    edge = Polygon(drawn.edge)
    bays = [Polygon(o) for o in drawn.openings]
    struts = [LineString([a, b]) for _, a, b in drawn.struts]
    assert edge.is_valid and all(b.is_valid and edge.contains(b) for b in bays)
    for s in layout.stations:
        at = Point(s.x, s.y)
        assert edge.contains(at), s
        on_strut = any(strut.distance(at) < 0.035 for strut in struts)
        assert on_strut or not any(b.buffer(-0.01).contains(at) for b in bays), s
    for a in layout.stations:
        for b in layout.stations:
            assert a is b or Point(a.x, a.y).distance(Point(b.x, b.y)) > 0.03, (a, b)


@each("name", known_layouts())
def test_screws_are_in_the_iron(name):
    drawn = read_layout(name).outline
    edge, bays = Polygon(drawn.edge), [Polygon(o) for o in drawn.openings]
    for screw in drawn.screws:
        assert edge.contains(Point(screw)) and not any(b.contains(Point(screw)) for b in bays), screw


@each("name", known_layouts())
def test_a_strung_plate_is_not_struck_near_pins_agraffes_or_strings(name):
    layout = read_layout(name)
    strung = layout.allowed("strung")
    outside = ("behind the hitch pins", "below the hitch pins")
    near = [s.where for s in strung if any(w in s.where for w in NEAR_STRINGS) and not s.where.endswith(outside)]
    assert near == []
    assert not any(s.direction == "sideways" for s in strung)
    assert layout.allowed("as-found") == strung  # as found, it may well be strung
    assert len(strung) == (4 if name.endswith("-short") else 8)
    assert all(layout.allowed(state) == layout.stations for state in (*BARE, None))


@pytest.mark.parametrize("plate", PLATES[:2], ids=lambda p: p.name)
def test_the_demo_draws_its_own_plates(plate):
    layout = layout_from_text(demo_layout_text(plate), "demo.toml")
    drawn = layout.outline
    edge, bays = Polygon(drawn.edge), [Polygon(o) for o in drawn.openings]
    assert edge.is_valid and len(bays) >= 5
    assert all(edge.buffer(0.01).contains(Point(s.x, s.y)) for s in layout.stations)
    assert not any(b.buffer(-0.01).contains(Point(s.x, s.y)) for b in bays for s in layout.stations)


def write(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding=encoding)
    return str(path)


def test_a_layout_of_ones_own(tmp_path):
    layout = read_layout(write(tmp_path, GOOD))
    (station,) = layout.stations
    assert (station.name, station.where, station.x, station.y) == ("A", "rim", 0.1, 0.9)
    assert (station.direction, station.trouble, station.states, layout.outline) == (None, "", STATES, None)


def test_a_copy_of_a_shipped_layout_reads_the_same(tmp_path):
    assert read_layout(write(tmp_path, layout_text("grand-long"))) == read_layout("grand-long")


def test_a_file_with_a_byte_order_mark_is_read(tmp_path):
    assert read_layout(write(tmp_path, GOOD, "utf-8-sig")).name == "mine"


def test_an_outline_of_ones_own(tmp_path):
    more = 'openings = [[[0.2, 0.1], [0.4, 0.1], [0.3, 0.2]]]\nscrews = [[0.5, 0.9]]\nsides = { left = "bass" }\n'
    strut = '[[outline.strut]]\nname = "only"\nfrom = [0.1, 0.1]\nto = [0.9, 0.1]\n'
    drawn = read_layout(write(tmp_path, GOOD + OUTLINE + more + strut)).outline
    assert drawn.name == "mine" and drawn.width_to_height == 1.5
    assert drawn.edge == ((0, 0), (1, 0), (0.5, 1)) and drawn.screws == ((0.5, 0.9),)
    assert drawn.struts == (("only", (0.1, 0.1), (0.9, 0.1)),) and drawn.sides == ("", "", "", "bass")


def test_members_have_thickness_and_older_struts_are_members_too():
    members = MEMBER + "line = [[0.1, 0.2], [0.9, 0.2]]\nthickness_mm = 38\n" + MEMBER.replace('"m"', '"bar"')
    members += (
        "polygon = [[0, 0], [1, 0], [1, 0.1]]\n" + '[[outline.strut]]\nname = "old"\nfrom = [0, 0]\nto = [1, 1]\n'
    )
    drawn = layout_from_text(GOOD + OUTLINE + "width_m = 1.4\nweb_mm = 9\n" + members, "f").outline
    assert {m.name: (m.is_line, m.thickness_mm, m.width_mm) for m in drawn.members} == {
        "m": (True, 38.0, None),
        "bar": (False, None, None),
        "old": (True, None, None),
    }
    assert [name for name, _, _ in drawn.struts] == ["old", "m"]
    assert (drawn.width_m, drawn.web_mm, drawn.rim_mm) == (1.4, 9.0, None)


@each("name", known_layouts())
def test_every_shipped_outline_tells_its_members_and_makes_a_model(name):
    drawn = read_layout(name).outline
    assert drawn.width_m and all(m.thickness_mm for m in drawn.members) and any(not m.is_line for m in drawn.members)
    model = rough_model(drawn, models_folder())
    assert {c.part for c in model.cuts if c.kind == "strut"} == {name for name, _, _ in drawn.struts}
    assert {"corner", "rim", "screw"} <= {c.kind for c in model.cuts}


def test_an_outline_that_falls_apart_makes_no_model_and_says_why():
    halves = "openings = [[[0, 0.4], [1, 0.4], [1, 0.6], [0, 0.6]]]\n"
    square = OUTLINE.replace("[0.5, 1.0]", "[1, 1], [0, 1]")
    with pytest.raises(BadLayout, match="falls into several pieces"):
        rough_model(layout_from_text(GOOD + square + halves, "f").outline)


@pytest.mark.parametrize(
    ("given", "states"),
    [
        ('["bare"]', BARE),
        ('["strung", "Stripped"]', ("stripped", "strung")),
        ('["in piano unstrung"]', ("in-piano-unstrung",)),
        ('["all"]', STATES),
    ],
)
def test_states_are_words_or_groups(given, states):
    assert layout_from_text(GOOD + f"states = {given}\n", "f").stations[0].states == states


DOCS = (Path(__file__).parents[2] / "docs" / "layouts.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("example", re.findall(r"```toml\n(.*?)```", DOCS, re.S), ids=lambda text: text.split('"')[1])
def test_the_examples_in_the_docs_are_read(example):
    layout = layout_from_text(example, "docs/layouts.md")
    assert layout.stations and layout.outline is not None


def test_the_docs_name_every_layout_outline_and_state():
    assert [name for name in (*known_layouts(), *known_outlines(), *STATES) if f"`{name}`" not in DOCS] == []


def test_unknown_layout_lists_the_known():
    with pytest.raises(BadLayout, match=known_layouts()[0]):
        read_layout("gran")


BAD = [
    ("", "has no name"),
    ("name = 3 =", "not TOML.*line 1"),
    ("a = " + "[" * 20_000, "too deep"),
    ('name = "m"\nkind = "k"\n', r"no station in it; write a \[\[station\]\]"),
    ('name = "m"\nkind = "k"\nstation = []\n', "no station in it"),
    ('name = "m"\nkind = "k"\nstation = 3\n', "no station in it"),
    (GOOD + STATION, "station named twice: 'A'"),
    (GOOD + "".join(STATION.replace('"A"', f'"A{n}"') for n in range(MOST_PLACES)), "201 stations; 200 are the most"),
    (GOOD.replace('where = "rim"\n', ""), r"line 3: station 1 'A': has no where; add a line where ="),
    (GOOD + STATION.replace("x = 0.1", "x = 1.4"), r"line 8: station 2 'A': x = 1.4; write a number from 0 \(left"),
    (GOOD.replace("x = 0.1", "x = nan"), "x = nan; write a number"),
    (GOOD.replace("x = 0.1", "x = true"), "x = True; write a number"),
    (GOOD.replace("x = 0.1", 'x = "left"'), "x = 'left'; write a number"),
    (GOOD.replace("y = 0.9\n", ""), "has no y"),
    (GOOD.replace('"A"', '"S_1"'), "has a _ in its name.*write a - instead"),
    (GOOD.replace('"A"', '" "'), "name is empty"),
    (GOOD.replace('"A"', "7"), "name = 7 is no text; put it in quotes"),
    (GOOD.replace('"rim"', '"rim\\u001b[2J"'), "holds a line break or a control character"),
    (GOOD.replace("where", "wher"), "'wher' is no key here; 'where' perhaps"),
    (GOOD + 'state = ["bare"]\n', "'state' is no key here; 'states' perhaps"),
    (GOOD + 'states = ["bear"]\n', "states: 'bear' is unknown; 'bare' perhaps"),
    (GOOD + 'states = "bare"\n', r"states = 'bare'; write a list"),
    (GOOD + "states = []\n", r"states = \[\]; write a list"),
    (GOOD + "states = [[3]]\n", r"states: \[3\] is unknown"),
    (GOOD + 'direction = "below"\n', "direction = 'below'; write one of above, front, sideways"),
    ('outline = "gran"\n' + GOOD, "outline = 'gran' is not known; write grand"),
    (GOOD + OUTLINE.replace("1.5", "50"), "outline: width_to_height = 50; write a number from 0.2"),
    (GOOD + OUTLINE.replace("edge = [", "edge = [3, "), r"outline: edge, point 1 = 3; write \[x, y\]"),
    (GOOD + OUTLINE.replace("edge = [[0, 0], ", "edge = ["), "outline: edge needs at least three points"),
    (GOOD + OUTLINE + "openings = [[1]]\n", "openings, polygon 1 needs at least three points"),
    (GOOD + OUTLINE + "openings = 1\n", "openings = 1 is no list"),
    (GOOD + OUTLINE + "screws = [[0.5, 2]]\n", r"screws, point 1 = \[0.5, 2\]; write"),
    (GOOD + OUTLINE + 'sides = "bass"\n', "sides = 'bass'; write for example"),
    (GOOD + OUTLINE + 'sides = { lft = "bass" }\n', "sides: 'lft' is no key here; 'left' perhaps"),
    (GOOD + OUTLINE + "strut = [4]\n", "strut 1 is no table"),
    (GOOD + OUTLINE + "[[outline.strut]]\nfrom = [0, 0]\n", r"outline: strut 1: to = None; write \[x, y\]"),
    (GOOD + OUTLINE + "member = [4]\n", "member 1 is no table"),
    (GOOD + OUTLINE + MEMBER, "member 1: give it a line .* or a polygon"),
    (GOOD + OUTLINE + MEMBER + "line = [[0, 0], [1, 0]]\npolygon = [[0, 0]]\n", "one of the two"),
    (GOOD + OUTLINE + MEMBER + "line = [[0, 0]]\n", "line takes two points"),
    (GOOD + OUTLINE + MEMBER + "polygon = [[0, 0], [1, 0]]\n", "polygon needs at least three points"),
    (
        GOOD + OUTLINE + MEMBER + "line = [[0, 0], [1, 0]]\nthickness_mm = 0.038\n",
        "thickness_mm = 0.038; write a number from 2 to 200",
    ),
    (
        GOOD + OUTLINE + MEMBER + "line = [[0, 0], [1, 0]]\nthickness = 38\n",
        "'thickness' is no key here; 'thickness_mm' perhaps",
    ),
    (GOOD + OUTLINE + "width_m = 1400\n", r"width_m = 1400; write a number from 0.2 to 4 \(metres\)"),
]


@each(("text", "match"), BAD, ids=[match[:30] for _, match in BAD])
def test_bad_layout_is_told_with_line_or_key_and_what_would_mend_it(tmp_path, text, match):
    with pytest.raises(BadLayout, match=match) as caught:
        read_layout(write(tmp_path, text))
    assert "\n" not in str(caught.value)
    assert "mine.toml" in str(caught.value)


def test_a_file_that_is_not_there_or_not_text(tmp_path):
    with pytest.raises(BadLayout, match=r"nowhere\.toml: cannot be read \(No such file"):
        read_layout(str(tmp_path / "nowhere.toml"))
    (tmp_path / "folder.toml").mkdir()
    with pytest.raises(BadLayout, match=r"folder\.toml: cannot be read"):
        read_layout(str(tmp_path / "folder.toml"))
    (tmp_path / "wide.toml").write_bytes(GOOD.encode("utf-16"))
    with pytest.raises(BadLayout, match="save it again as UTF-8"):
        read_layout(str(tmp_path / "wide.toml"))
    with pytest.raises(BadLayout, match="cannot be read"):
        read_layout("nul\x00.toml")
