"""A plate's outline and the marks on it, as bare SVG elements; plate_map.py and layout_sheet.py put them together, labels.py names them.

    Canvas(layout, width)          from the picture's 0..1 to the drawing's units; one unit is one pixel at `width`
    plate(canvas, name)            edge, bays, struts, pin fields, screws and the words at the sides
    screw(at)                      a plate screw
    mark(kind, x, y, r)            one station's mark: its shape alone tells its meaning
    apart(points, radii)          the same points, pushed so that no mark hides another
    element(tag, *content, **at)   one element; text and values are escaped
    whole(canvas, name, title, words, parts)   the <svg> with its title and description

All of it is greys and one dark blue, and no shape is used twice, so that nothing is lost in print or to the colour-blind.
"""

from collections.abc import Sequence
from itertools import combinations
from math import hypot
from typing import Literal

from markupsafe import Markup, escape
from msgspec import Struct

from tapscan.places import Layout, Outline, Point
from tapscan.report import words

Kind = Literal["look", "tapped", "unanswered", "untapped", "unusable", "tap", "leave", "faint"]

INK, GRAPHITE, EDGE, IRON, SHADE = "#1b2f5e", "#4a4e57", "#8b919e", "#e6e9f0", "#9aa1b0"
FONT = 12.0  # units
UNITS_A_REM = 16.0  # so that every drawing and every curve of a page has lettering of one size
STRUT = 0.036  # drawn width of a strut, of the picture's longer side
ROUNDS = 8
SIDE = FONT + 3  # units the words at the sides take


class Canvas(Struct, frozen=True):
    """A drawing `width` units wide: the picture within a margin that leaves room for the words at its sides."""

    layout: Layout
    width: float
    margin: float = 24.0

    @property
    def inner(self) -> tuple[float, float]:
        """Width and height of the picture itself."""
        ratio = self.layout.outline.width_to_height if self.layout.outline else 1.0
        wide = self.width - 2 * self.margin
        return wide, wide / ratio

    @property
    def height(self) -> float:
        """Of the whole drawing."""
        return self.inner[1] + 2 * self.margin

    def at(self, p: Point) -> Point:
        """Units of a point of the picture."""
        wide, high = self.inner
        return self.margin + p[0] * wide, self.margin + p[1] * high


def element(tag: str, *content: object, **at: object) -> Markup:
    """`_` in an attribute's name stands for `-`."""
    told = "".join(f' {k.rstrip("_").replace("_", "-")}="{escape(_short(v))}"' for k, v in at.items())
    inside = Markup("").join(escape(c) for c in content)
    return Markup(f"<{tag}{told}>{inside}</{tag}>" if content else f"<{tag}{told}/>")


def _short(value: object) -> object:
    return f"{value:.1f}".removesuffix(".0") if isinstance(value, float) else value


def whole(canvas: Canvas, name: str, title: str, description: str, parts: Sequence[Markup]) -> Markup:
    """`title` and `description` are read out where the drawing cannot be seen; ids begin with `name`."""
    return element(
        "svg",
        element("title", words.legible(title), id=f"{name}-title"),
        element("desc", words.legible(description), id=f"{name}-desc"),
        *parts,
        role="img",
        aria_labelledby=f"{name}-title {name}-desc",
        viewBox=f"0 0 {canvas.width:.0f} {canvas.height:.0f}",
        style=f"width:{canvas.width / UNITS_A_REM:.2f}rem",
        font_family="serif",
        font_size=FONT,
        fill=GRAPHITE,
    )


def plate(canvas: Canvas, name: str) -> list[Markup]:
    """The plate itself, or a broken frame where the layout has no outline."""
    outline = canvas.layout.outline
    if outline is None:
        frame = _polygon(canvas, ((0, 0), (1, 0), (1, 1), (0, 1)))
        return [element("path", d=frame, fill="none", stroke=EDGE, stroke_dasharray="3 4")]
    pins = f"{name}-pins"
    dot = element("circle", cx=3.5, cy=3.5, r=1.1, fill=EDGE)
    pattern = element("pattern", dot, id=pins, width=7, height=7, patternUnits="userSpaceOnUse")
    line: dict[str, object] = {"stroke": EDGE, "stroke_width": 1.2, "stroke_linejoin": "round"}
    parts = [element("defs", pattern)] if outline.pin_fields else []
    iron = "".join(_polygon(canvas, shape) for shape in (outline.edge, *outline.openings))
    parts.append(element("path", d=iron, fill=IRON, fill_rule="evenodd", **line))
    parts += _struts(canvas, outline, name)
    parts += [element("path", d=_polygon(canvas, f), fill=f"url(#{pins})") for f in outline.pin_fields]
    parts += [screw(canvas.at(p)) for p in outline.screws]
    return parts + _side_words(canvas, outline)


def _polygon(canvas: Canvas, points: Sequence[Point]) -> str:
    return "M" + "L".join("{:.1f} {:.1f}".format(*canvas.at(p)) for p in points) + "Z"


def _struts(canvas: Canvas, outline: Outline, name: str) -> list[Markup]:
    """Closed bars within the openings; where they meet the iron its edge is taken away, so that the casting is one piece."""
    if not outline.struts:
        return []
    width = STRUT * max(canvas.inner)
    ends = [(canvas.at(a), canvas.at(b)) for _, a, b in outline.struts]
    bays = "".join(_polygon(canvas, bay) for bay in outline.openings)
    clip = element("clipPath", element("path", d=bays or _polygon(canvas, outline.edge)), id=f"{name}-bays")
    bars = [element("path", d=_bar(a, b, width), fill=IRON, stroke=EDGE, stroke_width=1.2) for a, b in ends]
    joints = [element("path", d=_bar(a, b, width - 1.2, -0.6), fill=IRON) for a, b in ends]
    whole_plate = element("clipPath", element("path", d=_polygon(canvas, outline.edge)), id=f"{name}-edge")
    return [
        element("defs", clip, whole_plate),
        element("g", *bars, clip_path=f"url(#{name}-bays)"),
        element("g", *joints, clip_path=f"url(#{name}-edge)"),
    ]


def _bar(a: Point, b: Point, width: float, longer: float = 0.0) -> str:
    """A rectangle round the line from a to b, `longer` at both ends."""
    length = hypot(b[0] - a[0], b[1] - a[1]) or 1.0
    along = ((b[0] - a[0]) / length, (b[1] - a[1]) / length)
    x, y = -along[1] * width / 2, along[0] * width / 2
    start = (a[0] - longer * along[0], a[1] - longer * along[1])
    end = (b[0] + longer * along[0], b[1] + longer * along[1])
    corners = (
        (start[0] + x, start[1] + y),
        (end[0] + x, end[1] + y),
        (end[0] - x, end[1] - y),
        (start[0] - x, start[1] - y),
    )
    return "M" + "L".join(f"{u:.1f} {v:.1f}" for u, v in corners) + "Z"


def screw(at: Point) -> Markup:
    """A plate screw: the smallest ring, without weight."""
    return _circle(at, 2.3, fill="#fff", stroke=EDGE)


def _side_words(canvas: Canvas, outline: Outline) -> list[Markup]:
    top, right, bottom, left = (words.legible(w) for w in outline.sides)
    wide, high = canvas.width, canvas.height
    upright = {"text_anchor": "middle", "font_style": "italic"}
    parts = [
        element("text", top, x=wide / 2, y=FONT, **upright) if top else None,
        element("text", bottom, x=wide / 2, y=high - 5, **upright) if bottom else None,
        element("text", left, transform=f"translate({FONT:.0f} {high / 2:.0f}) rotate(-90)", **upright)
        if left
        else None,
        element("text", right, transform=f"translate({wide - 5:.0f} {high / 2:.0f}) rotate(-90)", **upright)
        if right
        else None,
    ]
    return [p for p in parts if p is not None]


def _circle(at: Point, r: float, **more: object) -> Markup:
    return element("circle", cx=at[0], cy=at[1], r=r, **more)


def mark(kind: Kind, at: Point, r: float) -> Markup:
    """Diamond: look; ring: tapped; ring with a bar: tapped without an answer; triangle: unusable; broken square: not tapped; on the sheet ring and barred square."""
    x, y = at
    halo: dict[str, object] = {"stroke": "#fff", "stroke_width": 1.2}
    ink: dict[str, object] = {"stroke": INK, "stroke_width": 1.6, "stroke_linejoin": "round"}
    if kind == "look":
        d = 1.6 * r
        return element(
            "path", d=f"M{x:.1f} {y - d:.1f}l{d:.1f} {d:.1f}l-{d:.1f} {d:.1f}l-{d:.1f} -{d:.1f}Z", fill=INK, **halo
        )
    if kind == "unusable":
        d = 1.25 * r
        return element("path", d=f"M{x:.1f} {y - d:.1f}l{d:.1f} {1.8 * d:.1f}h-{2 * d:.1f}Z", fill=SHADE, **ink)
    if kind == "untapped":
        side = 1.6 * r
        place = {"x": x - side / 2, "y": y - side / 2, "width": side, "height": side}
        return element("rect", **place, fill="#fff", stroke=GRAPHITE, stroke_width=1.2, stroke_dasharray="2.2 1.6")
    if kind == "leave":
        side = 1.8 * r
        place = {"x": x - side / 2, "y": y - side / 2, "width": side, "height": side}
        box = element("rect", **place, fill=SHADE, stroke=GRAPHITE, stroke_width=1.2)
        bars = f"M{x - r:.1f} {y - r:.1f}l{2 * r:.1f} {2 * r:.1f}m0 -{2 * r:.1f}l-{2 * r:.1f} {2 * r:.1f}"
        return box + element("path", d=bars, stroke=GRAPHITE, stroke_width=1.4)
    if kind == "faint":
        return _circle(at, 0.45 * r, fill="#fff", stroke=GRAPHITE, stroke_width=1.1)
    bar = element("path", d=f"M{x - r:.1f} {y:.1f}h{2 * r:.1f}", stroke=INK, stroke_width=1.6)
    return _circle(at, r, fill="#fff", **ink) + (bar if kind == "unanswered" else Markup(""))


def disc(at: Point, r: float) -> Markup:
    """A dark disc; its size tells how much."""
    return _circle(at, r, fill=INK, fill_opacity=0.8, stroke="#fff", stroke_width=1)


def shaded(at: Point, r: float, share: float) -> Markup:
    """A disc from pale to dark with a dark ring about it; `share` 0..1."""
    return _circle(at, r, fill=INK, fill_opacity=round(0.12 + 0.78 * share, 2), stroke=INK, stroke_width=1.2)


def apart(points: Sequence[Point], radii: Sequence[float]) -> list[Point]:
    """Marks that would hide each other step aside, each by half of what is missing; a few rounds settle a crowd."""
    moved = list(points)
    for _ in range(ROUNDS):
        for i, j in combinations(range(len(moved)), 2):
            (ax, ay), (bx, by) = moved[i], moved[j]
            gap = hypot(bx - ax, by - ay)
            missing = radii[i] + radii[j] + 1 - gap
            if missing > 0:
                dx, dy = ((bx - ax) / gap, (by - ay) / gap) if gap else (1.0, 0.0)
                step = missing / 2
                moved[i], moved[j] = (ax - dx * step, ay - dy * step), (bx + dx * step, by + dy * step)
    return moved
