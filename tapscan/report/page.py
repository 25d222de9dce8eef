"""The one page a person reads: what was found and what to do first, evidence and figures after.

render_page(screening, about, beside)   HTML as text: one file, no script, nothing fetched from anywhere
write_page(screening, path, ...)        the same into a file, whole or not at all (OSError)
first_and_sections(screening, ...)      what stands first, and single sections, for a page of one's own; style() is their style sheet

`beside` (report/extras.py) holds what was made from recordings and earlier scans. The page is its first screen and the sections
(report/sections/), in their order. All text from outside (names of files and stations, sentences) passes through the templates' escaping.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from markupsafe import Markup
from msgspec import Struct
from msgspec.structs import replace

from tapscan import __version__
from tapscan.records import Screening
from tapscan.report.about import About
from tapscan.report.extras import NOTHING, Extras
from tapscan.report.first_screen import first_screen, head
from tapscan.report.rendering import TEMPLATES, render
from tapscan.report.section import Section, Sheet, built
from tapscan.report.sections import SECTIONS, indications
from tapscan.report.sections.map import SECTION as MAP
from tapscan.report.shop import Shop
from tapscan.targets import write_text
from tapscan.wording import PLUS_MINUS


def write_page(screening: Screening, path: Path, about: About | None = None, beside: Extras = NOTHING) -> None:
    """Write the page to `path`; an older one stands until the new one is complete."""
    write_text(Path(path), render_page(screening, about, beside))


def render_page(
    screening: Screening,
    about: About | None = None,
    beside: Extras = NOTHING,
    sections: Sequence[Section] = SECTIONS,
) -> str:
    """The page as text; `about`: what the shop wrote down, where the scan comes from a register."""
    if beside.summary:
        names, _ = _parts(screening, about, beside, [MAP, indications.SECTION], ())
        return render("summary.html", names)
    wanted = [s for s in sections if beside.full or s.brief or s is MAP]
    names, body = _parts(screening, about, beside, wanted, [s for s in wanted if beside.full or s.brief])
    return render("page.html", {**names, "sections": [html for _, _, html in body]})


class First(Struct, frozen=True):
    """Of the first screen: its rows as HTML, and who a qualified person is."""

    short: Markup
    qualified: str


def first_and_sections(
    screening: Screening, about: About | None, beside: Extras, sections: Sequence[Section]
) -> tuple[First, list[tuple[str, str, Markup]]]:
    """The first screen's rows, and id, title and HTML of the sections that have something to show, for a page of one's own."""
    names, body = _parts(screening, about, beside, sections, sections)
    return First(Markup(render("short.html", names)), names["qualified"]), body


def sections_of(
    screening: Screening, about: About | None, beside: Extras, sections: Sequence[Section]
) -> list[tuple[str, str, Markup]]:
    """Of those the sections alone."""
    return first_and_sections(screening, about, beside, sections)[1]


def style() -> str:
    """The style sheet of the page."""
    return (TEMPLATES / "sheet.css").read_text(encoding="utf-8")


def _parts(
    screening: Screening,
    about: About | None,
    beside: Extras,
    sections: Sequence[Section],
    shown: Sequence[Section],
) -> tuple[dict[str, Any], list[tuple[str, str, Markup]]]:
    """Names of the first screen, and the sections that are shown."""
    sheet = Sheet(_dated(screening, beside.shop or Shop()), about, beside)
    always, found = _always(sheet), built(sections, sheet)
    on_page = [b for b in found if b.section in shown]
    body = [
        (b.section.id, b.section.title, Markup(render(b.section.template, {**always, **b.names}, b.section.folder)))
        for b in on_page
    ]
    return {**always, **first_screen(sheet, found, on_page)}, body


def _always(sheet: Sheet) -> dict[str, Any]:
    """What every template may name."""
    beside = sheet.beside
    return {
        "s": sheet.screening,
        "about": sheet.about,
        "head": head(sheet),
        "full": beside.full,
        "client": beside.client,
        "shop": beside.shop,
        "whom": beside.whom,
        "version": __version__,
        "plus_minus": PLUS_MINUS,
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
