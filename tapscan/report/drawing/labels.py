"""Where the names on a map stand: beside their marks, off each other, off the marks and off the numbers of the struts.

    labels(canvas, spots)    the names as SVG, with the numbers of the struts; thin lines where a name has to stand off
    placed(canvas, spots)    a Place for each name

Every name has some hundred places to choose from; each is charged for what it would cover, for lying nearer to a foreign mark than to its own, and for
standing off. Names choose in turn until none would rather stand elsewhere; of several orders the one that ends cheapest is taken. Ours, no source.
"""

from collections.abc import Sequence
from math import dist

import numpy as np
from markupsafe import Markup
from msgspec import Struct

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


class Place(Struct, frozen=True):
    """Where one name stands. `leader` : ends of the line to its mark, if it stands off."""

    box: Box
    leader: tuple[Point, Point] | None


class _Choice(Struct, frozen=True, eq=False):
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
    marks = np.array([(x - r, y - r, x + r, y + r) for _, (x, y), r, _ in spots])
    free = np.array(kept_free, dtype=float).reshape(-1, 4)
    choices = [
        _choice(canvas, spots, i, np.concatenate([np.delete(marks, i, axis=0), free])) for i in range(len(spots))
    ]
    across = [[at[k] for _, at, _, _ in spots] for k in (0, 1)]
    orders = [sorted(range(len(spots)), key=lambda i: (not spots[i][3], along[i] * way)) for along in across for way in (1, -1)]  # fmt: skip
    taken = _settled_best(_Names(choices), orders)
    return [_place(c, k) for c, k in zip(choices, taken, strict=True)]


def _place(choice: _Choice, k: int) -> Place:
    a, b, c, d = (float(v) for v in choice.leaders[k])
    left, upper, right, lower = (float(v) for v in choice.boxes[k])
    return Place((left, upper, right, lower), None if np.isnan(a) else ((a, b), (c, d)))


class _Names:
    """What the places of all names cost each other; each place is held against all others once."""

    def __init__(self, choices: Sequence[_Choice]) -> None:
        self.charged = np.array([c.charged for c in choices])  # (names, places)
        self._boxes, self._leaders = (np.array([getattr(c, k) for c in choices]) for k in ("boxes", "leaders"))
        ends = np.concatenate([self._boxes, np.where(np.isnan(self._leaders), self._boxes, self._leaders)], axis=2)
        self._low, self._high = (
            ends.reshape(*ends.shape[:2], 4, 2).min(axis=2),
            ends.reshape(*ends.shape[:2], 4, 2).max(axis=2),
        )
        self._known: dict[tuple[int, int], FloatArray] = {}

    def suffer(self, i: int, k: int) -> FloatArray:
        """(names, places) what every place of the other names would suffer from name i at its place k."""
        if (i, k) not in self._known:
            near = ((self._low <= self._high[i, k]) & (self._high >= self._low[i, k])).all(axis=2)
            near[i] = False
            box, leader = self._boxes[i, k][None], self._leaders[i, k][None]
            found = np.zeros(self.charged.shape)
            found[near] = _charge(self._boxes[near], self._leaders[near], box, leader)
            self._known[i, k] = found
        return self._known[i, k]


def _settled_best(names: _Names, orders: Sequence[Sequence[int]]) -> list[int]:
    """The first order that leaves nothing covered or puzzling beyond what any would, else the cheapest end of all."""
    unavoidable = float(names.charged[:, 0].sum())
    best: tuple[float, list[int]] = (np.inf, [])
    for order in orders:
        best = min(best, _settled(names, order))
        if best[0] < unavoidable + FOREIGN:
            break
    return best[1]


def _settled(names: _Names, order: Sequence[int]) -> tuple[float, list[int]]:
    """What all is charged in the end, and the place of each."""
    count, places = names.charged.shape
    suffered = np.zeros((count, places, count))  # by the places of the first, from where the last stands
    taken, paid = [-1] * count, np.zeros(count)
    for _ in range(CHOICES):
        before = list(taken)
        for i in order:
            cost = names.charged[i] + suffered[i].sum(axis=1)
            k = int(np.argmin(cost))  # the first of equals: places stand by what they are charged by themselves
            paid[i] = cost[k]
            if k != taken[i]:
                taken[i] = k
                suffered[:, :, i] = names.suffer(i, k)
        if taken == before:
            break
    return float(paid.sum()), taken


def _charge(some: FloatArray, lines: FloatArray, box: FloatArray, leader: FloatArray) -> FloatArray:
    """(n,) what places with boxes and leaders (n, 4) suffer from a name with a box and a leader (1, 4)."""
    covered = overlaps(some, box)
    crossed = _crosses(lines, box)
    if not np.isnan(leader[0, 0]):
        crossed |= _crosses(leader, some).T | _meets(lines, leader)
    return np.asarray((covered + COVERS * (covered > 0) + CROSSES * crossed)[:, 0])


TURN = 2 * np.pi * np.arange(WAYS) / WAYS
STANDS_OFF, ANGLE = (a.ravel() for a in np.meshgrid(np.array(REACHES), TURN, indexing="ij"))
WAY = np.stack([np.cos(ANGLE), np.sin(ANGLE)], axis=1)


def _choice(canvas: Canvas, spots: Sequence[Spot], i: int, rest: FloatArray) -> _Choice:
    """Of name i; rest : (m, 4) the other marks and what is kept free."""
    name, (x, y), r, _ = spots[i]
    half = np.array([LETTER * FONT * len(label(name)) / 2 + BESIDE, FONT / 2])
    near = np.array([x, y]) + (r + CLOSE + FONT * STANDS_OFF)[:, None] * WAY
    middle = near + np.clip(1.5 * WAY, -1, 1) * (half - (BESIDE, 0))
    boxes = np.concatenate([middle - half, middle + half], axis=1)
    leaders = np.concatenate([np.array([x, y]) + r * WAY, near], axis=1)
    leaders[STANDS_OFF == 0] = np.nan
    charged = FAR * STANDS_OFF + WAY_COST * (1 - WAY[:, 0]) + OUTSIDE * _outside(canvas, boxes)
    charged = charged + _beside(boxes, leaders, spots, i, rest)
    first = np.argsort(charged, kind="stable")
    return _Choice(boxes[first], leaders[first], charged[first])


def _beside(boxes: FloatArray, leaders: FloatArray, spots: Sequence[Spot], i: int, rest: FloatArray) -> FloatArray:
    """(n,) for what lies under each place, and for a foreign mark that is as near as the own one."""
    covered, crossed = overlaps(boxes, rest), _crosses(leaders, rest)
    gaps = _gaps(boxes, [at for _, at, _, _ in spots], [r for _, _, r, _ in spots])
    own = np.where(np.isnan(leaders[:, 0]), gaps[i], CLOSE)  # a line tells whose it is, but not beside another mark
    gaps[i] = np.inf
    puzzling = (gaps < own + SURELY).any(axis=0)
    return np.asarray((covered + COVERS * (covered > 0) + CROSSES * crossed).sum(axis=1) + FOREIGN * puzzling)


def _gaps(boxes: FloatArray, at: Sequence[Point], radius: Sequence[float]) -> FloatArray:
    """(m, n) units between m round marks and n boxes."""
    place = np.array(at)
    x, y = (
        np.maximum(np.maximum(boxes[:, k] - place[:, k, None], place[:, k, None] - boxes[:, k + 2]), 0.0)
        for k in (0, 1)
    )
    return np.asarray(np.hypot(x, y) - np.array(radius)[:, None])


def overlaps(some: FloatArray, others: FloatArray) -> FloatArray:
    """(n, m) common area of (n, 4) and (m, 4) boxes."""
    wide, high = (
        np.maximum(np.minimum.outer(some[:, k + 2], others[:, k + 2]) - np.maximum.outer(some[:, k], others[:, k]), 0.0)
        for k in (0, 1)
    )
    return np.asarray(wide * high)


def _crosses(lines: FloatArray, boxes: FloatArray) -> np.ndarray:
    """(n, m) whether a line from (x, y) to (x, y) runs through a box; a line of NaN crosses nothing."""
    drawn = ~np.isnan(lines[:, 0])
    crossed = np.zeros((len(lines), len(boxes)), dtype=bool)
    if drawn.any():  # few names stand off
        crossed[drawn] = _run_through(lines[drawn], boxes)
    return crossed


def _run_through(lines: FloatArray, boxes: FloatArray) -> np.ndarray:
    early, late = [], []
    with np.errstate(divide="ignore", invalid="ignore"):
        for k in (0, 1):
            at, way = lines[:, k, None], (lines[:, k + 2] - lines[:, k])[:, None]
            first, last = (boxes[None, :, k] - at) / way, (boxes[None, :, k + 2] - at) / way
            early.append(np.minimum(first, last))
            late.append(np.maximum(first, last))
    enters, leaves = np.maximum(*early), np.minimum(*late)
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
