"""A few words explained."""

from typing import Any

from tapscan.report.section import Section, Sheet


def _build(sheet: Sheet) -> dict[str, Any]:
    return {}


SECTION = Section("words", "Words", "glossary.html", _build, brief=False)
