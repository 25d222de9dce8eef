"""Pictures of a plate through time, as inline SVG: since its baseline, and over all its scans.

shifts(pairs, limit, name)   change of each mode since the baseline, with its interval and how far it would have to fall
trend(course, name)          change of a few modes, and of all together, from scan to scan
"""

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
from markupsafe import Markup
from matplotlib import rc_context
from numpy.typing import NDArray

from tapscan.records import FloatArray, ModePair
from tapscan.report.extras import Course, CourseLine
from tapscan.report.figures.sheet import GRAPHITE, INK, RULE, STYLE, as_svg, sheet

LOWEST_HZ, HIGHEST_HZ = 95.0, 1550.0  # what is judged, and a little beside it
CHANGE_BOX = (0.175, 0.18, 0.8, 0.79)
TREND_BOX = (0.175, 0.18, 0.62, 0.76)
SHAPES = "osD^v<"
LINES: tuple[Any, ...] = ("-", (0, (5, 1.5)), (0, (2, 1)), (0, (6, 1.5, 1.5, 1.5)), (0, (1, 1)), "-")


def shifts(pairs: Sequence[ModePair], limit: float | None, name: str) -> Markup | None:
    """Change in per cent against frequency; None where nothing lies in range.

    A line is twice the plate's own scatter either way. A pale bar reaches down to `limit` times the scatter: so far the
    modes that fall most have to fall on average. `limit` None draws no bars.
    """
    pairs = [p for p in pairs if LOWEST_HZ <= p.baseline_hz <= HIGHEST_HZ and p.judged is not False]
    if not pairs:
        return None
    f = np.array([p.baseline_hz for p in pairs])
    change, sd = np.array([p.change_ppm for p in pairs]) / 1e4, np.array([p.change_sd_ppm for p in pairs]) / 1e4
    fell = np.array([p.fell for p in pairs])
    low, high = _range(change, sd, fell, limit)
    with rc_context(STYLE):
        figure, axes = sheet(box=CHANGE_BOX)
        if limit is not None:
            axes.vlines(f, np.maximum(-limit * sd, low), 0, color=RULE, linewidth=4.5)
        axes.axhline(0.0, color=GRAPHITE, linewidth=0.7)
        axes.errorbar(f, change, 2 * sd, fmt="none", ecolor=GRAPHITE, elinewidth=0.7)
        axes.plot(f[~fell], change[~fell], linestyle="", marker="o", markersize=3.5, mfc="white", mec=INK, mew=0.8)
        axes.plot(f[fell], change[fell], linestyle="", marker="D", markersize=4.5, color=INK, mec="white", mew=0.5)
        axes.set_xlim(0, HIGHEST_HZ)
        axes.set_ylim(low, high)
        axes.set_xlabel("frequency, Hz")
        axes.set_ylabel("change, %")
        return as_svg(figure, name, _shift_words(change, fell, int(np.sum((change < low) | (change > high)))))


def _range(change: FloatArray, sd: FloatArray, fell: NDArray[np.bool_], limit: float | None) -> tuple[float, float]:
    """Lower and upper end: all that fell is seen; a wild single mode must not flatten the rest."""
    plain = change[fell] if fell.any() else np.quantile(change, [0.05])
    lowest = float(min(plain.min(), -(limit or 2) * np.median(sd)))
    highest = float(max(6 * np.median(sd), np.quantile(change, 0.95)))
    room = 0.08 * (highest - lowest)
    return lowest - room, highest + room


def _shift_words(change: FloatArray, fell: NDArray[np.bool_], out_of_sight: int) -> str:
    told = f"Change of {len(change)} modes since the baseline, in per cent; {out_of_sight} lie beyond the picture. "
    if not fell.any():
        return told + "None stands out from the scatter."
    return told + f"{int(fell.sum())} fell by more than the scatter, the largest by {-change[fell].min():.3f} %."


def trend(course: Course, name: str) -> Markup | None:
    """Days along, change against the first scan upward; None with fewer than two scans."""
    if len(course.dates) < 2:
        return None
    days = [date.fromisoformat(d).toordinal() for d in course.dates]
    shared = np.array(course.shared_ppm) / 1e4
    with rc_context(STYLE):
        figure, axes = sheet(box=TREND_BOX)
        axes.axhline(0.0, color=RULE, linewidth=0.9)
        axes.plot(days, shared, color=GRAPHITE, linewidth=1.0, linestyle=":", marker="x", markersize=5)
        ends = [(float(shared[-1]), "all together")]
        for line, shape, dashes in zip(course.lines, SHAPES, LINES, strict=False):
            ends += _draw_line(axes, days, line, shape, dashes)
        span = max(days) - min(days) or 1
        axes.set_xlim(min(days) - 0.04 * span, max(days) + 0.04 * span)
        _ends(axes, max(days) + 0.07 * span, ends)
        shown = _some(days, course.dates)
        axes.set_xticks([d for d, _ in shown], [text for _, text in shown])
        axes.set_ylabel("change, %")
        return as_svg(figure, name, _trend_words(course))


def _draw_line(axes: Any, days: Sequence[int], line: CourseLine, shape: str, dashes: Any) -> list[tuple[float, str]]:
    rows = zip(days, line.change_ppm, line.sd_ppm, strict=True)
    known = [(d, c / 1e4, 2e-4 * (s or 0.0)) for d, c, s in rows if c is not None]
    if not known:
        return []
    x, y, half = (np.array(v) for v in zip(*known, strict=True))
    axes.errorbar(x, y, half, fmt="none", ecolor=GRAPHITE, elinewidth=0.7)
    axes.plot(x, y, color=INK, linewidth=1.1, linestyle=dashes, marker=shape, markersize=4.5, mfc="white", mew=0.9)
    return [(float(y[-1]), f"{line.frequency_hz:.0f} Hz")]


def _ends(axes: Any, x: float, ends: Sequence[tuple[float, str]]) -> None:
    """What each line is, at its right end, one above the other."""
    low, high = axes.get_ylim()
    step, last = 0.075 * (high - low), -np.inf
    for y, text in sorted(ends):
        last = max(y, last + step)
        axes.text(x, last, text, va="center", clip_on=False)


def _some(days: Sequence[int], dates: Sequence[str]) -> list[tuple[int, str]]:
    """Dates that have room below the axis; first and last always."""
    kept: list[tuple[int, str]] = []
    gap = 0.24 * (days[-1] - days[0] or 1)
    for day, text in zip(days, dates, strict=True):
        if not kept or day == days[-1] or (day - kept[-1][0] >= gap and days[-1] - day >= gap):
            kept.append((day, text))
    return kept


def _trend_words(course: Course) -> str:
    ends = [(line.frequency_hz, [c for c in line.change_ppm if c is not None]) for line in course.lines]
    told = "; ".join(f"{f:.0f} Hz {c[-1] / 1e4:+.3f} %" for f, c in ends if c)
    return (
        f"Change from {course.dates[0]} to {course.dates[-1]} over {len(course.dates)} scans: "
        f"all modes together {course.shared_ppm[-1] / 1e4:+.3f} %; beyond that {told or 'no mode could be followed'}."
    )
