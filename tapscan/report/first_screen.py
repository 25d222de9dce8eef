"""The first screen and the page for a buyer: from what the sections hold, and a few facts of the scan.

first_screen(sheet, sections)   the names that first.html and summary.html ask for
"""

from collections.abc import Mapping, Sequence
from typing import Any

from tapscan import wording
from tapscan.records import RuleNotRun, Screening
from tapscan.report import words
from tapscan.report.rule_words import rule_title
from tapscan.report.section import Built, Sheet
from tapscan.report.sections.comparison import counted_tones

FEW_NAMED = 3


def first_screen(sheet: Sheet, sections: Sequence[Built]) -> dict[str, Any]:
    """`sections` : those of the page, built."""
    names = {b.section.id: b.names for b in sections}
    findings = names.get("indications", {}).get("findings", [])
    return {
        "facts": _facts(sheet.screening),
        "jumps": _jumps(findings),
        "unsaid": [f for f in findings if f["sentence"] not in sheet.screening.summary],
        "plate": names.get("map", {}).get("plate"),
        "compared": sheet.screening.comparison is not None,
        "contents": [(b.section.id, b.section.title) for b in sections],
    }


def _jumps(findings: Sequence[Mapping[str, Any]]) -> list[tuple[str, list[Mapping[str, Any]]]]:
    """Lists of links for the first screen: what counts, where it is more than one, and what does not."""
    counts = [f for f in findings if f["relevant"]]
    beside = [f for f in findings if not f["relevant"]]
    rows = [(f"All {len(counts)} indications:", counts)] if len(counts) > 1 else []
    once = {f["title"]: f for f in reversed(beside)}
    return [*rows, *([("Also heard, and no sign of a flaw:", list(reversed(once.values())))] if beside else [])]


def _facts(screening: Screening) -> dict[str, str]:
    scan = screening.scan
    stations = len({s.station for s in scan.strikes})
    usable = sum(s.usable for s in scan.strikes)
    taps = "none found"
    if scan.strikes:
        places = wording.counted(stations, "station")
        taps = f"{wording.counted(len(scan.strikes), 'tap')} at {places}, {usable} used"
    return {
        "Taps": taps,
        "Tones (modes)": counted_tones(screening),
        "State of the plate": words.STATES.get(scan.state, scan.state) if scan.state else "not given",
        "Layout of stations": scan.layout or "not given",
        "Checks not made": _not_made(screening.rules_not_run),
    }


def _not_made(not_run: Sequence[RuleNotRun]) -> str:
    if not not_run:
        return "none"
    names = "; ".join(rule_title(r.rule) for r in not_run) if len(not_run) <= FEW_NAMED else str(len(not_run))
    return f"{names} (why: see further down)"
