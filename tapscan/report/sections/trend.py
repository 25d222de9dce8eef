"""All scans of the plate, as rows of words and a drawing.

trend_section(course, shop)   what trend.html names, or None with fewer than two scans
"""

from typing import Any

from markupsafe import Markup

from tapscan import wording
from tapscan.report import words
from tapscan.report.extras import Course
from tapscan.report.section import Section, Sheet
from tapscan.report.shop import Shop


def trend_section(course: Course | None, shop: Shop | None) -> dict[str, Any] | None:
    """Drawing, rows of a table (tone, then its change in each scan) and the words beside them."""
    if course is None or len(course.dates) < 2:
        return None
    from tapscan.report.figures.changes import trend

    shop = shop or Shop()
    return {
        "drawing": Markup(shop.dated(trend(course, "trend") or "")),
        "days": [shop.dated(d) for d in course.dates],
        "together": [_per_cent(x) for x in course.shared_ppm],
        "rows": [
            (f"{line.frequency_hz:.1f} Hz", [_per_cent(x) for x in line.change_ppm], line.said) for line in course.lines
        ],
        "shared_by": course.shared_by,
        "followed": course.followed,
        "scans": len(course.dates),
        "few": len(course.dates) < course.fewest,
        "fewest": wording.spelled(course.fewest),
        "left_out": wording.listed(course.left_out, words.MOST_LISTED),
    }


def _per_cent(ppm: float | None) -> str:
    return "not heard" if ppm is None else wording.minus(f"{ppm / 1e4:+.3f}")


def _build(sheet: Sheet) -> dict[str, Any] | None:
    found = trend_section(sheet.beside.course, sheet.beside.shop)
    if found is None or (found["few"] and not sheet.beside.full):  # two scans show nothing that the comparison does not
        return None
    return {"trend": found}


SECTION = Section("trend", "Through the years", "trend.html", _build)
