"""The plate, how this scan was made, and what later examinations found: what the shop wrote down."""

from typing import Any

from tapscan.report.section import Section, Sheet


def _build(sheet: Sheet) -> dict[str, Any] | None:
    return {} if sheet.about else None


SECTION = Section("about", "The plate", "about.html", _build)
