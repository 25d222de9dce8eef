"""The paper all figures are drawn on: size, inks, and a figure turned into an inline SVG.

    sheet(size_in, box)                    Figure and axes
    as_svg(figure, name, words)            bare <svg> with words in its place; ids begin with `name`
    INK, GRAPHITE, RULE, WASH, STYLE

Drawn without pyplot. One dark blue and greys; meaning is told by shape, never by hue, so that nothing is lost in print or to the
colour-blind. Names from outside stand in the alternative text only, never in the drawing (where a "$" would be read as mathematics).
The same data give the same bytes.
"""

import io
import re
from typing import Any

from markupsafe import Markup, escape
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

INK, GRAPHITE, RULE, WASH = "#1b2f5e", "#4a4e57", "#c9ccd3", "#dfe5f1"
SIZE_IN = (4.6, 2.9)
BOX = (0.14, 0.18, 0.835, 0.79)  # left, bottom, width, height of the axes, shares of the sheet
FONT_PT = 9.5
LETTERING_REM = 0.75  # as in the drawings of the plate (drawing/plate_drawing.py)
STYLE: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "tapscan",
    "font.family": "serif",
    "font.size": FONT_PT,
    "axes.labelsize": FONT_PT,
    "xtick.labelsize": FONT_PT,
    "ytick.labelsize": FONT_PT,
    "text.color": GRAPHITE,
    "axes.labelcolor": GRAPHITE,
    "axes.edgecolor": GRAPHITE,
    "xtick.color": GRAPHITE,
    "ytick.color": GRAPHITE,
    "axes.linewidth": 0.7,
    "axes.unicode_minus": True,
}


def sheet(size_in: tuple[float, float] = SIZE_IN, box: tuple[float, float, float, float] = BOX) -> tuple[Figure, Any]:
    """`size_in` : width and height in inches; the page stretches the drawing to its place."""
    figure = Figure(figsize=size_in)
    FigureCanvasSVG(figure)
    axes = figure.add_axes(box)
    figure.patch.set_visible(False)
    axes.patch.set_visible(False)
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(True, color=RULE, linewidth=0.5)
    axes.set_axisbelow(True)
    return figure, axes


def as_svg(figure: Figure, name: str, words: str) -> Markup:
    """Bare <svg> element: no header, no outside address, ids of its own, and words in its place."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'\s+xmlns(:\w+)?="[^"]*"', "", text).replace("xlink:href=", "href=")
    text = re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{name}-", text)
    text = re.sub(r'(<svg[^>]*?)\s+width="[^"]*"', r"\1", text, count=1)
    text = re.sub(r'(<svg[^>]*?)\s+height="[^"]*"', r"\1", text, count=1)
    label = escape(words)
    wide = figure.get_figwidth() * 72 * LETTERING_REM / FONT_PT
    text = re.sub(
        r"<style.*?</style>", "", text, flags=re.S
    )  # it would be the whole page's; its words stand on the element below
    head = f'<svg role="img" style="width:{wide:.2f}rem" stroke-linejoin="round" stroke-linecap="butt" aria-label="{label}"'
    text = text.replace("<svg", head, 1)
    return Markup(re.sub(r"(<svg[^>]*>)", lambda m: f"{m[1]}<title>{label}</title>", text, count=1))
