"""Where the names on a map stand: beside their marks, off each other, off the marks and off the numbers of the struts.

    labels(canvas, spots)    the names as SVG, with the numbers of the struts; thin lines where a name has to stand off
    placed(canvas, spots)    a Place for each name

Every name has some hundred places to choose from; each is charged for what it would cover, for lying nearer to a foreign mark than to its own, and for
standing off. Names choose in turn until none would rather stand elsewhere; of several orders the one that ends cheapest is taken. Ours, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import dist

import numpy as np
from markupsafe import Markup

from tapscan.places import Point
from tapscan.records import FloatArray
from tapscan.report import words
from tapscan.report.drawing.plate_drawing import FONT, INK, SIDE, Canvas, element

Spot = tuple[str, Point, float, bool]  # name, place in units, radius of the mark, heavy
Box = tuple[float, float, float, float]  # left, upper, right, lower edge

LETTER = 0.62  # mean width of a letter in font sizes, on the generous side
LONGEST_LABEL = 6  # letters
STRUT_FONT = 10.0  # fits within a strut
STRUT_SPOTS = tuple(n / 10 for n in range(1, 10))  # along a strut
BESIDE = 1.5  # units kept free at both sides of a name, so that two do not read as one
CLOSE = 2.0  # units between a mark and a name beside it
REACHES = (0.0, 0.8, 1.8, 3.0, 4.4)  # font sizes by which a name may stand off
WAYS = 16  # directions
CHOICES = 8  # times that every name chooses its place
# what a place is charged, in square units covered; the steps were tried on the layouts that ship
COVERS, CROSSES, FOREIGN, FAR, OUTSIDE = 60.0, 90.0, 40.0, 7.0, 5.0
WAY_COST = 1.5  # for not standing at the right of its mark
SURELY = 2.0  # units by which a name should be nearer to its own mark than to another
RIM: dict[str, object] = {"fill": "#fff", "stroke": "#fff", "stroke_width": 3, "stroke_linejoin": "round"}


@dataclass(frozen=True)
class Place:
    """Where one name stands. `leader` : ends of the line to its mark, if it stands off."""

    box: Box
    leader: tuple[Point, Point] | None


@dataclass(frozen=True, eq=False)
class _Choice:
    """The places one name may take, cheapest first: boxes (n, 4), leaders (n, 4) with NaN where there is none, what each is charged by itself (n,)."""

    boxes: FloatArray
    leaders: FloatArray
    charged: FloatArray


def labels(canvas: Canvas, spots: Sequence[Spot]) -> list[Markup]:
    """With the numbers of the struts."""
    numbers = strut_numbers(canvas, [at for _, at, _, _ in spots])
    parts = [_strut_number(text, at) for text, at in numbers]
    stands = placed(canvas, spots, [_box(at, text, STRUT_FONT) for text, at in numbers])
    parts += [_line(p.leader) for p in stands if p.leader]
    for (name, _, _, heavy), one in zip(spots, stands, strict=True):
        weight: dict[str, object] = {"font_weight": "bold", "fill": INK} if heavy else {}
        place = {"x": (one.box[0] + one.box[2]) / 2, "y": one.box[3] - 2.5, "text_anchor": "middle", **weight}
        # not paint-order: what makes the PDF does not know it and hides the name behind its rim
        parts.append(element("text", label(name), **{**place, **RIM}) + element("text", label(name), **place))
    return parts


def label(name: str) -> str:
    """A station's name as short as a drawing can bear."""
    name = str(words.legible(name))
    return name if len(name) <= LONGEST_LABEL else f"{name[: LONGEST_LABEL - 1]}\N{HORIZONTAL ELLIPSIS}"


def placed(canvas: Canvas, spots: Sequence[Spot], kept_free: Sequence[Box] = ()) -> list[Place]:
    """kept_free : what no name may cover, beside the marks."""
    if not spots:
        return []
    choices = [_choice(canvas, spots, i, kept_free) for i in range(len(spots))]
    across = [[at[k] for _, at, _, _ in spots] for k in (0, 1)]
    orders = [sorted(range(len(spots)), key=lambda i: (not spots[i][3], along[i] * way)) for along in across for way in (1, -1)]  # fmt: skip
    taken = _settled_best(choices, orders)
    return [_place(c, k) for c, k in zip(choices, taken, strict=True)]


def _place(choice: _Choice, k: int) -> Place:
    a, b, c, d = (float(v) for v in choice.leaders[k])
    left, upper, right, lower = (float(v) for v in choice.boxes[k])
    return Place((left, upper, right, lower), None if np.isnan(a) else ((a, b), (c, d)))


def _settled_best(choices: Sequence[_Choice], orders: Sequence[Sequence[int]]) -> list[int]:
    """The first order that leaves nothing covered or puzzling beyond what any would, else the cheapest end of all."""
    unavoidable = sum(float(c.charged[0]) for c in choices)
    best: tuple[float, list[int]] = (np.inf, [])
    for order in orders:
        best = min(best, _settled(choices, order))
        if best[0] < unavoidable + FOREIGN:
            break
    return best[1]


def _settled(choices: Sequence[_Choice], order: Sequence[int]) -> tuple[float, list[int]]:
    """What all is charged in the end, and the place of each."""
    boxes, leaders = (np.full((len(choices), 4), np.nan) for _ in range(2))
    taken, paid = [-1] * len(choices), np.zeros(len(choices))
    for _ in range(CHOICES):
        before = list(taken)
        for i in order:
            boxes[i] = leaders[i] = np.nan
            k, paid[i] = _cheapest(choices[i], boxes, leaders)
            taken[i] = k
            boxes[i], leaders[i] = choices[i].boxes[k], choices[i].leaders[k]
        if taken == before:
            break
    return float(paid.sum()), taken


def _cheapest(mine: _Choice, boxes: FloatArray, leaders: FloatArray) -> tuple[int, float]:
    """Number and charge; places stand by what they are charged by themselves, so the search ends where that alone is more."""
    best, least = 0, np.inf
    for start in range(0, len(mine.charged), WAYS):
        if mine.charged[start] >= least:
            break
        some = slice(start, start + WAYS)
        cost = mine.charged[some] + _charge(mine.boxes[some], mine.leaders[some], boxes, leaders)
        if cost.min() < least:
            best, least = start + int(np.argmin(cost)), float(cost.min())
    return best, least


def _charge(some: FloatArray, lines: FloatArray, boxes: FloatArray, leaders: FloatArray) -> FloatArray:
    """(n,) for what the names that have a place would suffer from boxes and leaders; rows of NaN are names without one."""
    covered = overlaps(some, boxes)
    crossed = _crosses(lines, boxes) | _crosses(leaders, some).T | _meets(lines, leaders)
    return np.asarray((covered + COVERS * (covered > 0) + CROSSES * crossed).sum(axis=1))


def _choice(canvas: Canvas, spots: Sequence[Spot], i: int, kept_free: Sequence[Box]) -> _Choice:
    name, (x, y), r, _ = spots[i]
    half = np.array([LETTER * FONT * len(label(name)) / 2 + BESIDE, FONT / 2])
    turn = 2 * np.pi * np.arange(WAYS) / WAYS
    far, angle = (a.ravel() for a in np.meshgrid(np.array(REACHES), turn, indexing="ij"))
    way = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    near = np.array([x, y]) + (r + CLOSE + FONT * far)[:, None] * way
    middle = near + np.clip(1.5 * way, -1, 1) * (half - (BESIDE, 0))
    boxes = np.concatenate([middle - half, middle + half], axis=1)
    leaders = np.concatenate([np.array([x, y]) + r * way, near], axis=1)
    leaders[far == 0] = np.nan
    charged = FAR * far + WAY_COST * (1 - way[:, 0]) + OUTSIDE * _outside(canvas, boxes)
    charged = charged + _beside(boxes, leaders, spots, i, kept_free)
    first = np.argsort(charged, kind="stable")
    return _Choice(boxes[first], leaders[first], charged[first])


def _beside(boxes: FloatArray, leaders: FloatArray, spots: Sequence[Spot], i: int, kept_free: Sequence[Box]) -> FloatArray:  # fmt: skip
    """(n,) for what lies under each place, and for a foreign mark that is as near as the own one."""
    marks = np.array([(x - r, y - r, x + r, y + r) for _, (x, y), r, _ in spots])
    rest = np.array([*np.delete(marks, i, axis=0), *kept_free]).reshape(-1, 4)
    covered, crossed = overlaps(boxes, rest), _crosses(leaders, rest)
    others = [s for k, s in enumerate(spots) if k != i]
    gaps = np.array([_gap(boxes, at, r) for _, at, r, _ in others]).reshape(len(others), len(boxes))
    own = np.where(
        np.isnan(leaders[:, 0]), _gap(boxes, *spots[i][1:3]), CLOSE
    )  # a line tells whose it is, but not beside another mark
    puzzling = (gaps < own + SURELY).any(axis=0)
    return np.asarray((covered + COVERS * (covered > 0) + CROSSES * crossed).sum(axis=1) + FOREIGN * puzzling)


def _gap(boxes: FloatArray, at: Point, r: float) -> FloatArray:
    """(n,) units between a round mark and each box."""
    away = np.maximum(np.maximum(boxes[:, :2] - at, at - boxes[:, 2:]), 0.0)
    return np.asarray(np.hypot(away[:, 0], away[:, 1]) - r)


def overlaps(some: FloatArray, others: FloatArray) -> FloatArray:
    """(n, m) common area of (n, 4) and (m, 4) boxes; 0 where one is NaN."""
    low = np.maximum(some[:, None, :2], others[None, :, :2])
    high = np.minimum(some[:, None, 2:], others[None, :, 2:])
    sides = np.nan_to_num(np.maximum(high - low, 0.0))
    return np.asarray(sides[..., 0] * sides[..., 1])


def _crosses(lines: FloatArray, boxes: FloatArray) -> np.ndarray:
    """(n, m) whether a line from (x, y) to (x, y) runs through a box; a line or box of NaN crosses nothing."""
    drawn = ~np.isnan(lines[:, 0])
    crossed = np.zeros((len(lines), len(boxes)), dtype=bool)
    if drawn.any():  # few names stand off
        crossed[drawn] = _run_through(lines[drawn], boxes)
    return crossed


def _run_through(lines: FloatArray, boxes: FloatArray) -> np.ndarray:
    at, way = lines[:, None, :2], (lines[:, 2:] - lines[:, :2])[:, None, :]
    with np.errstate(divide="ignore", invalid="ignore"):
        first, last = (boxes[None, :, :2] - at) / way, (boxes[None, :, 2:] - at) / way
    early, late = np.minimum(first, last), np.maximum(first, last)
    enters = np.maximum(early[..., 0], early[..., 1])
    leaves = np.minimum(late[..., 0], late[..., 1])
    return np.asarray((enters < leaves) & (leaves > 0) & (enters < 1))


def _meets(some: FloatArray, others: FloatArray) -> np.ndarray:
    """(n, m) whether two lines cross."""

    def side(a: FloatArray, b: FloatArray, p: FloatArray) -> FloatArray:
        return (b[..., 0] - a[..., 0]) * (p[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (p[..., 0] - a[..., 0])

    a, b, c, d = some[:, None, :2], some[:, None, 2:], others[None, :, :2], others[None, :, 2:]
    return np.asarray((side(a, b, c) * side(a, b, d) < 0) & (side(c, d, a) * side(c, d, b) < 0))


def _outside(canvas: Canvas, boxes: FloatArray) -> FloatArray:
    """(n,) area by which a name would run into the words at the sides."""
    inside = overlaps(boxes, np.array([[SIDE, SIDE, canvas.width - SIDE, canvas.height - SIDE]]))[:, 0]
    return np.asarray((boxes[:, 2:] - boxes[:, :2]).prod(axis=1) - inside)


def strut_numbers(canvas: Canvas, marks: Sequence[Point]) -> list[tuple[str, Point]]:
    """The number in a strut's name, where the strut is emptiest."""
    out = []
    for name, a, b in canvas.layout.outline.struts if canvas.layout.outline else ():
        number = name.rpartition(" ")[2]
        if number.isdecimal():
            along = [canvas.at((a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]))) for t in STRUT_SPOTS]
            out.append((number, max(along, key=lambda p: min((dist(p, m) for m in marks), default=0.0))))
    return out


def _strut_number(text: str, at: Point) -> Markup:
    place = {"x": at[0], "y": at[1] + 0.35 * STRUT_FONT, "text_anchor": "middle"}
    return element("text", text, **place, font_size=STRUT_FONT, font_style="italic", class_="strut")


def _box(at: Point, text: str, font: float) -> Box:
    wide, high = LETTER * font * len(text) / 2, font / 2
    return at[0] - wide, at[1] - high, at[0] + wide, at[1] + high


def _line(ends: tuple[Point, Point]) -> Markup:
    (a, b), (c, d) = ends
    return element("path", d=f"M{a:.1f} {b:.1f}L{c:.1f} {d:.1f}", stroke=INK, stroke_width=0.9)
