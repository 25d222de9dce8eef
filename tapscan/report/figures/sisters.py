"""Where a plate lies among others of its pattern, as inline SVG.

sisters(found, name)   one mark a plate along a line: how unlike the others it moves
"""

import numpy as np
from markupsafe import Markup
from matplotlib import rc_context

from tapscan.records import BesidePattern
from tapscan.report.figures.sheet import GRAPHITE, INK, RULE, STYLE, as_svg, sheet

BOX = (0.05, 0.34, 0.9, 0.56)
WIDEST = 12.0  # over the usual; what lies further out is drawn at the edge


def sisters(found: BesidePattern, name: str) -> Markup | None:
    """None where this plate's place is not known."""
    if found.unlike.value is None or found.unlike.limit is None:
        return None
    used = [s.unlike for s in found.sisters if s.left_out is None and s.unlike is not None]
    odd = [s.unlike for s in found.sisters if s.left_out is not None and s.unlike is not None]
    right = min(WIDEST, 1.15 * max(found.unlike.value, found.unlike.limit, *odd, *used, 2.0))
    with rc_context(STYLE):
        figure, axes = sheet(box=BOX)
        axes.axvspan(found.unlike.limit, right, color=RULE, alpha=0.5, linewidth=0)
        axes.axhline(0.0, color=GRAPHITE, linewidth=0.7)
        axes.plot(
            _within(used, right),
            _apart(len(used)),
            linestyle="",
            marker="o",
            markersize=4,
            mfc="white",
            mec=INK,
            mew=0.8,
        )
        axes.plot(
            _within(odd, right),
            _apart(len(odd)),
            linestyle="",
            marker="s",
            markersize=4,
            mfc="white",
            mec=GRAPHITE,
            mew=0.8,
        )
        axes.plot(_within([found.unlike.value], right), [0.0], linestyle="", marker="D", markersize=6.5, color=INK)
        axes.set_xlim(0, right)
        axes.set_ylim(-1, 1)
        axes.set_yticks([])
        axes.set_xlabel("change of shape against the others, 1 = usual among them")
        return as_svg(figure, name, _words(found, len(used), len(odd)))  # fmt: skip


def _within(values: list[float], right: float) -> list[float]:
    return [min(v, right * 0.985) for v in values]


def _apart(count: int) -> list[float]:
    """Heights that keep marks from lying on each other."""
    return [float(h) for h in np.resize([0.0, 0.3, -0.3, 0.6, -0.6], count)]


def _words(found: BesidePattern, used: int, odd: int) -> str:
    left = f", {odd} left out" if odd else ""
    return f"This plate at {found.unlike.value:.2f}, limit {found.unlike.limit:.2f}, among {used} other plates of the pattern{left}."
