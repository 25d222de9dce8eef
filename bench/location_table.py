"""Rows of bench.location's table, and what the report says of them.

Drawing              how wrong the drawing is, and how many places are used
Told                 what was said of one flaw
table(rows)          lines, chance and the former ranking beside each rate
calibration(firsts)  of parts given so much of the belief, how many were right
reach(many, few)     figures for tapscan/report/reach.json
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from msgspec import Struct

from bench import study
from bench.reach_file import share

MANY, FEW = 20, 12  # places
LEAST_SHARE = 1e-3  # in the score
EDGES = (0, 0.3, 0.5, 0.7, 0.9, 1)  # of the share that the first part is given
KINDS = ("strut", "corner", "rim", "bolt", "pin")


class Drawing(Struct, frozen=True):
    """How wrong the drawing is, and how many places are used."""

    words: str
    error: float
    places_m: float
    places: int


class Told(Struct, frozen=True):
    """What was said of one flaw."""

    kind: str
    called: bool
    rank: int | None  # of the right part, 0 is first; None: not listed
    share: float  # of the first
    parts: int
    reason: str | None
    today: int  # rank by the places at which the changed modes are strongest
    right: float = np.nan  # share of the right part
    away_m: float = np.nan  # of a weight: from the likeliest spot to where it lies


def percent(hits: int, of: int) -> str:
    low, high = study.clopper_pearson(hits, of)
    return f"{hits:3d} of {of:3d} = {100 * hits / max(of, 1):3.0f} % ({100 * low:.0f}-{100 * high:.0f})"


def table(rows: dict[Drawing, list[Told]]) -> list[str]:
    """All rows of the table, chance and the former ranking beside them."""
    lines = [
        "cracks that the comparison called; right part first, among three, by chance (first, three), by the former ranking"
    ]
    for row, every in rows.items():
        cracks = [t for t in every if t.called and t.kind in KINDS]
        lines += _row(row.words, cracks)
        for kind in KINDS:
            lines += _row(f"    {kind}", [t for t in cracks if t.kind == kind])
        lines += _row(
            "    closed, rubbing (struts), by losses", [t for t in every if t.called and t.kind.startswith("rubbing")]
        )
        lines += _weights([t for t in every if t.kind == "weight" and t.called])
        lines += _calibration(cracks)
    return lines


def _row(words: str, told_: Sequence[Told]) -> list[str]:
    silent = [t for t in told_ if t.reason]
    said = [t for t in told_ if not t.reason]
    if not told_:
        return []
    if not said:
        return [f"{words}: says that it cannot tell, {len(silent)} of {len(told_)}"]
    first, three = sum(t.rank == 0 for t in said), sum(t.rank is not None and t.rank < 3 for t in said)
    chance = np.mean([1 / t.parts for t in said]), np.mean([3 / t.parts for t in said])
    today = sum(t.today == 0 for t in said), sum(t.today < 3 for t in said)
    quiet = f"; says that it cannot tell: {len(silent)}" if silent else ""
    return [
        f"{words}: first {percent(first, len(said))}, three {percent(three, len(said))}; chance {100 * chance[0]:.0f}, {100 * min(chance[1], 1):.0f} %; "
        f"formerly {100 * today[0] / len(said):.0f}, {100 * today[1] / len(said):.0f} %{quiet}"
    ]


def _weights(told_: Sequence[Told]) -> list[str]:
    away = np.array([t.away_m for t in told_ if not t.reason])
    if not len(away):
        return []
    return [
        f"    a weight: likeliest spot {np.median(away):.2f} m off (middle of {len(away)}), within 0.25 m {percent(int((away < 0.25).sum()), len(away))}"
    ]


def calibration(firsts: Sequence[tuple[float, bool]], edges: Sequence[float] = EDGES) -> list[str]:
    """`firsts` : the first part's share of the belief, and whether it was the right one."""
    lines = []
    for low, high in pairwise(edges):
        here = [right for share, right in firsts if low <= share < high or share == high == 1]
        if here:
            lines.append(
                f"    first part given {100 * low:.0f} to {100 * high:.0f} %: there {percent(sum(here), len(here))}"
            )
    return lines


def _calibration(told_: Sequence[Told]) -> list[str]:
    lines = calibration([(t.share, t.rank == 0) for t in told_ if not t.reason])
    score = -np.log([max(t.right, LEAST_SHARE) for t in told_ if not t.reason])
    return (
        [*lines, f"    log score, mean of -ln(share of the right part): {np.mean(score):.2f}"] if len(score) else lines
    )


def reach(many: Sequence[Told], few: Sequence[Told]) -> dict[str, object]:
    """What the report says beside its sentence: the harder drawing, since no shop knows how wrong its own is."""
    figures: dict[str, object] = {"places": MANY}
    for words, places, every in (("", MANY, many), ("few ", FEW, few)):
        said = [t for t in every if t.called and not t.reason]
        figures[f"{words}drops"] = _rates([t for t in said if t.kind in KINDS], places)
        figures[f"{words}losses"] = _rates([t for t in said if t.kind.startswith("rubbing")], places)
    return figures


def _rates(told_: Sequence[Told], places: int) -> dict[str, object] | None:
    if not told_:
        return None
    first, three = sum(t.rank == 0 for t in told_), sum(t.rank is not None and t.rank < 3 for t in told_)
    chance = round(float(np.mean([1 / t.parts for t in told_])), 3)
    return {
        "places": places,
        "first": share(first, len(told_)),
        "three": share(three, len(told_)),
        "chance_first": chance,
    }
