"""The one page a person reads: what was found and what to do first, evidence and figures after.

render_page(screening, about, beside)   HTML as text: one file, no script, nothing fetched from anywhere
write_page(screening, path, ...)        the same into a file, whole or not at all (OSError)

`beside` (report/beside.py) holds what was made from recordings and earlier scans. The page is its first screen and the sections
(report/sections/), in their order. All text from outside (names of files and stations, sentences) passes through the templates' escaping.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from markupsafe import Markup

from tapscan import __version__
from tapscan.records import Screening
from tapscan.report.about import About
from tapscan.report.beside import NOTHING, Beside
from tapscan.report.first_screen import first_screen, head
from tapscan.report.rendering import render
from tapscan.report.section import Section, Sheet, built
from tapscan.report.sections import SECTIONS, indications
from tapscan.report.sections.map import SECTION as MAP
from tapscan.report.shop import Shop
from tapscan.targets import write_text


def write_page(screening: Screening, path: Path, about: About | None = None, beside: Beside = NOTHING) -> None:
    """Write the page to `path`; an older one stands until the new one is complete."""
    write_text(Path(path), render_page(screening, about, beside))


def render_page(
    screening: Screening,
    about: About | None = None,
    beside: Beside = NOTHING,
    sections: Sequence[Section] = SECTIONS,
) -> str:
    """The page as text; `about`: what the shop wrote down, where the scan comes from a register."""
    sheet = Sheet(_dated(screening, beside.shop or Shop()), about, beside)
    always = _always(sheet)
    if beside.summary:
        found = built([MAP, indications.SECTION], sheet)
        return render("summary.html", {**always, **first_screen(sheet, found, [])})
    found = built([s for s in sections if beside.full or s.brief or s is MAP], sheet)
    shown = [b for b in found if beside.full or b.section.brief]
    body = [Markup(render(b.section.template, {**always, **b.names}, b.section.folder)) for b in shown]
    return render("page.html", {**always, **first_screen(sheet, found, shown), "sections": body})


def _always(sheet: Sheet) -> dict[str, Any]:
    """What every template may name."""
    beside = sheet.beside
    return {
        "s": sheet.screening,
        "about": sheet.about,
        "head": head(sheet),
        "full": beside.full,
        "shop": beside.shop,
        "whom": beside.whom,
        "version": __version__,
    }


def _dated(screening: Screening, shop: Shop) -> Screening:
    """The same with the days in its sentences as the shop writes them."""
    compared = screening.comparison
    return replace(
        screening,
        summary=shop.dated(screening.summary),
        limitations=tuple(map(shop.dated, screening.limitations)),
        comparison=replace(compared, summary=shop.dated(compared.summary)) if compared else None,
        indications=tuple(replace(i, sentence=shop.dated(i.sentence)) for i in screening.indications),
    )
