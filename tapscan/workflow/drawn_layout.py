"""A layout drawn by hand on a photo of the plate, as a layout file of the shop's own.

    Drawing                         what was drawn, in shares of the photo
    drawing_from(text)              from the JSON that the page sends; raises BadLayout
    drawing_of(layout)              of a layout that is there, to be changed; and None where its places are all there is
    layout_toml(drawing)            the file; the picture is cut to the plate's edge
    keep_drawing(folder, drawing, was)   checked by the reader of layout files, and written; raises BadLayout

The photo itself is never sent: only points come here, x and y from 0 (left, upper edge of the photo) to 1.
"""

import json
from collections.abc import Sequence
from pathlib import Path

from msgspec import Struct

from tapscan.errors import BadLayout
from tapscan.layouts import MOST_PLACES, Layout
from tapscan.places import Point
from tapscan.plain_values import plain, revived
from tapscan.workflow.own_layouts import keep_layout, own_layouts

SIDES = ("top", "right", "bottom", "left")
USUAL_SIDES = {
    "grand": ("tail", "treble", "keyboard", "bass"),
    "upright": ("tuning pins", "treble", "bottom", "bass"),
}
MOST_POINTS, MOST_PIXELS = 400, 1e6
DIGITS = 4
HEAD = (
    "# Drawn on a photo of the plate; 0, 0 is the upper left corner of the plate's own frame, 1, 1 the lower right.\n"
)


class DrawnStrut(Struct, frozen=True):
    """A bar from one point to another."""

    name: str
    ends: tuple[Point, Point]


class DrawnPlace(Struct, frozen=True):
    """A station."""

    name: str
    where: str
    at: Point
    states: tuple[str, ...] = ("all",)  # in which it may be struck, in the words of layout files
    direction: str = ""
    trouble: str = ""


class Drawing(Struct, frozen=True):
    """Points in shares of the photo, whose own `width` and `height` are in pixels."""

    name: str
    kind: str
    note: str
    width: float
    height: float
    edge: tuple[Point, ...]
    sides: tuple[str, str, str, str] = ("", "", "", "")  # words at top, right, bottom and left
    openings: tuple[tuple[Point, ...], ...] = ()
    pin_fields: tuple[tuple[Point, ...], ...] = ()
    screws: tuple[Point, ...] = ()
    struts: tuple[DrawnStrut, ...] = ()
    places: tuple[DrawnPlace, ...] = ()


def drawing_from(text: str) -> Drawing:
    """Every point is within the photo, and there are not more of them than a hand draws."""
    try:
        drawing = revived(Drawing, json.loads(text))
    except Exception as problem:
        raise BadLayout(f"the drawing did not arrive whole ({type(problem).__name__}); load the page again") from None
    if not _typed_right(drawing):
        raise BadLayout("the drawing did not arrive whole; load the page again")
    if len(_points(drawing)) > MOST_POINTS or len(drawing.places) > MOST_PLACES:
        raise BadLayout(f"{MOST_POINTS} points and {MOST_PLACES} places are the most; draw with fewer")
    if not all(0 <= v <= 1 for point in _points(drawing) for v in point):
        raise BadLayout("a point lies outside the photo; take it back and set it again")
    return drawing


def _typed_right(d: Drawing) -> bool:
    """JSON may hold anything."""
    figures = [d.width, d.height, *(v for p in _points(d) for v in p)]
    texts = [d.name, d.kind, d.note, *d.sides, *(s.name for s in d.struts)]
    texts += [text for p in d.places for text in (p.name, p.where, p.direction, p.trouble, *p.states)]
    right = all(isinstance(v, float) for v in figures) and all(isinstance(t, str) for t in texts)
    return right and 0 < d.width < MOST_PIXELS and 0 < d.height < MOST_PIXELS


def _points(d: Drawing) -> list[Point]:
    polygons = [p for polygon in (d.edge, *d.openings, *d.pin_fields) for p in polygon]
    return [*polygons, *d.screws, *(p for s in d.struts for p in s.ends), *(p.at for p in d.places)]


def drawing_of(layout: Layout, name: str) -> Drawing:
    """Its picture stands for the photo."""
    o = layout.outline
    places = tuple(
        DrawnPlace(s.name, s.where, (s.x, s.y), s.states, s.direction or "", s.trouble) for s in layout.stations
    )
    if o is None:
        return Drawing(name, layout.kind, layout.note, 1000, 1000, ((0, 0), (1, 0), (1, 1), (0, 1)), places=places)
    struts = tuple(DrawnStrut(title, (a, b)) for title, a, b in o.struts)
    return Drawing(
        name, layout.kind, layout.note, round(1000 * o.width_to_height), 1000, o.edge, o.sides, o.openings, o.pin_fields,
        o.screws, struts, places,
    )  # fmt: skip


def drawing_json(drawing: Drawing) -> str:
    """As the page takes it."""
    return json.dumps(plain(drawing), ensure_ascii=False)


def layout_toml(d: Drawing) -> str:
    """Raises BadLayout where there is no edge, or a place lies outside it."""
    frame = _Frame(d)
    lines = [
        HEAD.rstrip(),
        f"name = {_text(d.name)}",
        f"kind = {_text(d.kind or 'own')}",
        f"note = {_text(d.note)}",
        "",
    ]
    lines += ["[outline]", f"width_to_height = {frame.width_to_height:.3f}"]
    if any(d.sides):
        lines.append("sides = { " + ", ".join(f"{k} = {_text(v)}" for k, v in zip(SIDES, d.sides, strict=True)) + " }")
    lines.append(f"edge = {frame.points(d.edge)}")
    for key, polygons in (("openings", d.openings), ("pin_fields", d.pin_fields)):
        if polygons:
            lines.append(f"{key} = [{', '.join(frame.points(p) for p in polygons)}]")
    if d.screws:
        lines.append(f"screws = {frame.points(d.screws)}")
    for strut in d.struts:
        a, b = (frame.point(p) for p in strut.ends)
        lines += ["", "[[outline.strut]]", f"name = {_text(strut.name)}", f"from = {a}", f"to = {b}"]
    for place in d.places:
        lines += ["", "[[station]]", *_station(place, frame)]
    return "\n".join(lines) + "\n"


def _station(place: DrawnPlace, frame: "_Frame") -> list[str]:
    if not frame.holds(place.at):
        raise BadLayout(f"{place.name or 'a place'} lies outside the plate's edge; put it on the iron")
    x, y = frame.share(place.at)
    lines = [f"name = {_text(place.name)}", f"where = {_text(place.where)}", f"x = {x}", f"y = {y}"]
    lines += [f"direction = {_text(place.direction)}"] if place.direction else []
    lines += [f"trouble = {_text(place.trouble)}"] if place.trouble else []
    return [*lines, f"states = [{', '.join(map(_text, place.states))}]"]


class _Frame:
    """The rectangle round the edge; what is a little outside it is drawn on its border."""

    def __init__(self, d: Drawing) -> None:
        if len(d.edge) < 3:
            raise BadLayout("draw the plate's edge first: at least three points")
        xs, ys = zip(*d.edge, strict=True)
        self.low = (min(xs), min(ys))
        self.size = (max(xs) - min(xs), max(ys) - min(ys))
        if not all(self.size):
            raise BadLayout("the plate's edge is one line; set its points round the plate")
        self.width_to_height = self.size[0] * d.width / (self.size[1] * d.height)

    def share(self, p: Point) -> Point:
        x, y = ((v - low) / size for v, low, size in zip(p, self.low, self.size, strict=True))
        return round(min(1.0, max(0.0, x)), DIGITS), round(min(1.0, max(0.0, y)), DIGITS)

    def holds(self, p: Point) -> bool:
        return all(low <= v <= low + size for v, low, size in zip(p, self.low, self.size, strict=True))

    def point(self, p: Point) -> str:
        return "[{}, {}]".format(*self.share(p))

    def points(self, some: Sequence[Point]) -> str:
        return f"[{', '.join(self.point(p) for p in some)}]"


def _text(text: str) -> str:
    """A TOML basic string is a JSON string, but for the sign DEL."""
    return json.dumps(text.strip(), ensure_ascii=False).replace("\x7f", "\\u007f")


def keep_drawing(folder: Path, drawing: Drawing, was: str = "") -> Layout:
    """`was` : the name of the shop's own layout that is being changed; another one is never written over."""
    if drawing.name != was and drawing.name in own_layouts(folder):
        raise BadLayout(f"{drawing.name} is there already; choose another name, or change that one from its own page")
    return keep_layout(folder, drawing.name, layout_toml(drawing))
