"""The plate among others of its pattern: a picture, and a row a plate.

sisters_section(found)   what sisters.html names, or None where it was held against none
"""

from typing import Any

from tapscan import wording
from tapscan.records import BesidePattern, PatternFigure
from tapscan.report.section import Section, Sheet

MOST_ROWS = 24


def sisters_section(found: BesidePattern | None) -> dict[str, Any] | None:
    """Words only; unknown is said."""
    if found is None or not found.sisters:
        return None
    from tapscan.report.figures.sisters import sisters

    rows = [(s.name, s.of_set or "this register", _number(s.unlike), s.left_out or "used") for s in found.sisters]
    return {
        "pattern": found.pattern,
        "drawing": sisters(found, "sisters"),
        "used": len(found.used),
        "places": found.places,
        "rows": rows[:MOST_ROWS],
        "more": max(len(rows) - MOST_ROWS, 0),
        "figures": [
            ("change of shape over what is usual among the others", *_figure(found.unlike)),
            ("ten largest rises of the loss, in the others' scatter", *_figure(found.losses)),
            ("three largest drops of frequency, in the others' scatter (shown only: nothing is concluded from it)", *_figure(found.drops)),
        ],
        "facts": _facts(found),
        "not_run": [r.reason for r in found.rules_not_run],
        "suggestions": found.suggestions,
    }  # fmt: skip


def _number(value: float | None) -> str:
    return wording.UNKNOWN if value is None else f"{value:.2f}"


def _figure(figure: PatternFigure) -> tuple[str, str]:
    if figure.value is None:
        return f"not judged: {figure.reason}", ""
    return f"{figure.value:.2f}", f"{figure.limit:.2f}"


def _facts(found: BesidePattern) -> list[tuple[str, str]]:
    said = (
        ("all tones of this plate together, against the middle of the others", found.shift_percent, "{:+.2f} %"),
        ("scatter of a tone from plate to plate (standard deviation)", found.scatter_percent, "{:.2f} %"),
        ("scatter of a loss from plate to plate (standard deviation)", found.loss_scatter_percent, "{:.0f} %"),
    )
    return [(what, wording.minus(form.format(value))) for what, value, form in said if value is not None]


def _build(sheet: Sheet) -> dict[str, Any] | None:
    found = sisters_section(sheet.screening.pattern)
    return {"sisters": found} if found else None


SECTION = Section("sisters", "Among plates of its pattern", "sisters.html", _build)
