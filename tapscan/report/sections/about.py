"""The plate, how this scan was made, and what later examinations found: what the shop wrote down."""

from typing import Any

from tapscan.report.about import UNKNOWN
from tapscan.report.section import Section, Sheet

NOT_LOOKED_AT = "not looked at"


def _build(sheet: Sheet) -> dict[str, Any] | None:
    if sheet.about is None:
        return None
    facts, seen = sheet.about.plate_facts + sheet.about.scan_facts, sheet.about.seen
    if not sheet.beside.full:  # blank rows fill paper
        facts = tuple(row for row in facts if row[1] != UNKNOWN)
        seen = tuple(row for row in seen if row[1] != NOT_LOOKED_AT)
    return {"facts": facts, "seen": seen}


SECTION = Section("about", "The plate", "about.html", _build)
