"""A layout's TOML into records; every mistake is told with its line or key and what would mend it.

    parse_layout(text, source, outline)   Layout; `outline(name)` gives a ready Outline or None
    parse_outline(text, source)           Outline from a file of its own

A misspelt key is refused rather than passed over: `state` for `states` would let a strung plate be struck anywhere.
"""

import difflib
import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any, get_args

from tapscan.errors import BadLayout
from tapscan.layouts.parts import Part
from tapscan.places import IN_PIANO, STATES, Direction, Layout, Member, Outline, Point, State, Station
from tapscan.sources import on_one_line
from tapscan.toml_files import NotToml, shown, toml_table

MOST_PLACES = 200  # of a layout: more are not tapped, and their names find no room on a sheet
LAYOUT_KEYS = ("name", "kind", "note", "outline", "station")
STATION_KEYS = ("name", "where", "x", "y", "direction", "trouble", "states")
OUTLINE_KEYS = (
    "name",
    "width_to_height",
    "sides",
    "edge",
    "openings",
    "pin_fields",
    "screws",
    "strut",
    "member",
    "width_m",
    "web_mm",
    "rim_mm",
)
STRUT_KEYS = ("name", "from", "to")
MEMBER_KEYS = ("name", "line", "polygon", "thickness_mm", "width_mm")
SIDES = ("top", "right", "bottom", "left")
DIRECTIONS: tuple[Direction, ...] = get_args(Direction)
STATE_GROUPS: dict[str, tuple[State, ...]] = {
    "all": STATES,
    "bare": tuple(s for s in STATES if s not in IN_PIANO),
}
HEADER = re.compile(r"\s*\[\[\s*(?:station|\"station\"|'station')\s*\]\]")
THICK_MM, IN_MM = (2, 200), "from 2 to 200 (millimetres)"
SLIMMEST, WIDEST = 0.2, 5.0  # width to height of a picture that can still be read


def parse_layout(text: str, source: str, outline: Callable[[str], Outline | None]) -> Layout:
    """Layout from the text of its file."""
    top = Part(_table(text, source), on_one_line(source))
    top.only(LAYOUT_KEYS)
    name, kind = top.text("name"), top.text("kind")
    tables = top.table.get("station")
    if not isinstance(tables, list) or not all(isinstance(t, dict) for t in tables):
        raise top.bad("there is no station in it; write a [[station]] line with name, where, x, y below it")
    if not tables:
        raise top.bad("there is no station in it; give at least one [[station]]")
    if len(tables) > MOST_PLACES:
        raise top.bad(f"it has {len(tables)} stations; {MOST_PLACES} are the most")
    lines = [n for n, line in enumerate(text.splitlines(), 1) if HEADER.match(line)]
    stations = tuple(_station(t, k, lines if len(lines) == len(tables) else [], source) for k, t in enumerate(tables))
    _no_name_twice(stations, top)
    return Layout(name, kind, top.text("note", ""), stations, _drawing(top, outline))


def parse_outline(text: str, source: str) -> Outline:
    """Outline from the text of its file."""
    return _outline(Part(_table(text, source), source))


def _table(text: str, source: str) -> dict[str, Any]:
    try:
        return toml_table(text)
    except NotToml as problem:
        at = on_one_line(source)
        raise BadLayout(f"{at}: is not TOML as it stands ({problem}); mend that place, see docs/layouts.md") from None


def _station(table: dict[str, Any], index: int, lines: Sequence[int], source: str) -> Station:
    line = f", line {lines[index]}" if lines else ""
    name = table.get("name")
    named = f" {shown(name)}" if isinstance(name, str) else ""
    part = Part(table, f"{source}{line}: station {index + 1}{named}")
    part.only(STATION_KEYS)
    station = part.text("name")
    if "_" in station:
        raise part.bad("has a _ in its name, where a recording's file name ends the station; write a - instead")
    direction = part.text("direction", "")
    if direction and direction not in DIRECTIONS:
        raise part.bad(f"direction = {shown(direction)}; write one of {', '.join(DIRECTIONS)}")
    return Station(
        station,
        part.text("where"),
        part.number("x", 0, 1, "from 0 (left edge of the picture) to 1 (right edge)"),
        part.number("y", 0, 1, "from 0 (upper edge of the picture) to 1 (lower edge)"),
        next((d for d in DIRECTIONS if d == direction), None),
        part.text("trouble", ""),
        _states(part),
    )


def _states(part: Part) -> tuple[State, ...]:
    """States in their usual order; every state when the layout does not tell."""
    given = part.table.get("states", ["all"])
    known = (*STATE_GROUPS, *STATES)
    if not isinstance(given, list) or not given:
        raise part.bad(f'states = {shown(given)}; write a list such as ["bare", "strung"], or leave the line out')
    allowed: set[State] = set()
    for word in given:
        plain = "-".join(word.lower().split()) if isinstance(word, str) else ""
        if plain not in known:
            near = difflib.get_close_matches(plain, known, 1)
            raise part.bad(
                f"states: {shown(word)} is unknown; {f'{near[0]!r} perhaps? ' if near else ''}It takes {', '.join(known)}"
            )
        allowed.update(STATE_GROUPS.get(plain, [s for s in STATES if s == plain]))
    return tuple(s for s in STATES if s in allowed)


def _no_name_twice(stations: Sequence[Station], top: Part) -> None:
    names = [s.name for s in stations]
    twice = sorted({n for n in names if names.count(n) > 1})
    if twice:
        raise top.bad(f"station named twice: {', '.join(map(shown, twice))}; give each station a name of its own")


def _drawing(top: Part, outline: Callable[[str], Outline | None]) -> Outline | None:
    """A ready outline by name, one drawn in the layout's file, or none."""
    given = top.table.get("outline")
    if given is None:
        return None
    if isinstance(given, dict):
        return _outline(Part({"name": top.text("name"), **given}, f"{top.at}: outline"))
    ready = outline(given) if isinstance(given, str) else None
    if ready is None:
        raise top.bad(
            f"outline = {shown(given)} is not known; write grand, grand-three-quarter, upright or upright-three-quarter, "
            "draw your own under [outline], or leave the line out"
        )
    return ready


def _outline(part: Part) -> Outline:
    part.only(OUTLINE_KEYS)
    sides = part.table.get("sides", {})
    if not isinstance(sides, dict):
        raise part.bad(f'sides = {shown(sides)}; write for example {{ top = "tail", left = "bass" }}')
    words = Part(sides, f"{part.at}: sides")
    words.only(SIDES)
    return Outline(
        name=part.text("name"),
        width_to_height=part.number(
            "width_to_height", SLIMMEST, WIDEST, f"from {SLIMMEST} (narrow) to {WIDEST:.0f} (wide)"
        ),
        edge=_polygon(part, "edge", part.table.get("edge")),
        openings=tuple(_polygons(part, "openings")),
        pin_fields=tuple(_polygons(part, "pin_fields")),
        members=(
            *(_strut(part, k, t) for k, t in enumerate(part.items("strut"), 1)),
            *(_member(part, k, t) for k, t in enumerate(part.items("member"), 1)),
        ),
        screws=tuple(part.point(f"screws, point {k}", p) for k, p in enumerate(part.items("screws"), 1)),
        sides=(words.text("top", ""), words.text("right", ""), words.text("bottom", ""), words.text("left", "")),
        width_m=part.perhaps("width_m", 0.2, 4, "from 0.2 to 4 (metres)"),
        web_mm=part.perhaps("web_mm", *THICK_MM, IN_MM),
        rim_mm=part.perhaps("rim_mm", *THICK_MM, IN_MM),
    )


def _polygons(part: Part, key: str) -> Iterable[tuple[Point, ...]]:
    for k, polygon in enumerate(part.items(key), 1):
        yield _polygon(part, f"{key}, polygon {k}", polygon)


def _polygon(part: Part, what: str, value: Any) -> tuple[Point, ...]:
    if not isinstance(value, list) or len(value) < 3:
        raise part.bad(f"{what} needs at least three points, such as [[0.0, 0.0], [1.0, 0.0], [0.5, 1.0]]")
    return tuple(part.point(f"{what}, point {k}", p) for k, p in enumerate(value, 1))


def _strut(part: Part, number: int, table: Any) -> Member:
    if not isinstance(table, dict):
        raise part.bad(f"strut {number} is no table; write [[strut]] with name, from, to below it")
    strut = Part(table, f"{part.at}: strut {number}")
    strut.only(STRUT_KEYS)
    return Member(strut.text("name", ""), (strut.point("from", table.get("from")), strut.point("to", table.get("to"))))


def _member(part: Part, number: int, table: Any) -> Member:
    """A strut by its middle line, or a block by its edge."""
    if not isinstance(table, dict):
        raise part.bad(f"member {number} is no table; write [[member]] with name and line or polygon below it")
    member = Part(table, f"{part.at}: member {number}")
    member.only(MEMBER_KEYS)
    line, polygon = table.get("line"), table.get("polygon")
    if (line is None) == (polygon is None):
        raise member.bad("give it a line = [[x, y], [x, y]] (a strut) or a polygon = [...] (a block), one of the two")
    if line is not None and (not isinstance(line, list) or len(line) != 2):
        raise member.bad("line takes two points, the strut's ends, such as [[0.5, 0.1], [0.5, 0.8]]")
    points = (
        tuple(member.point(f"line, point {k}", p) for k, p in enumerate(line, 1))
        if line is not None
        else _polygon(member, "polygon", polygon)
    )
    return Member(
        member.text("name"),
        points,
        member.perhaps("thickness_mm", *THICK_MM, IN_MM),
        member.perhaps("width_mm", *THICK_MM, IN_MM),
    )
