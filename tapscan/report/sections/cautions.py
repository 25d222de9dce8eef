"""Usual cautions in plain words."""

from typing import Any

from tapscan.report.section import Section, Sheet


def _build(sheet: Sheet) -> dict[str, Any]:
    return {}


SECTION = Section("cautions", "Cautions", "cautions.html", _build)
