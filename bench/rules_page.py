"""The rules, and the figures of bench/detection.py, on the page of the rules.

    python -m bench.rules_page        writes docs/rules.md anew

page(text)     docs/rules.md with the rules as they are and what the bench wrote in it
every_rule()   a row for each, from its record
renew()        written anew
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, get_args

from bench.doc_pages import between
from tapscan.report.error_rates import FILE
from tapscan.screening import rules as registry
from tapscan.screening.rule import Reads, Rule

HERE = Path(__file__).parent
SINGLE, BESIDE = HERE / "results" / "detection.txt", HERE / "results" / "detection_beside.txt"
PAGE = HERE.parent / "docs" / "rules.md"
MARKS = "<!-- figures -->", "<!-- end of figures -->"
BESIDE_MARKS = "<!-- beside -->", "<!-- end of beside -->"
SHORT = "<!-- in short -->", "<!-- end of in short -->"
RULES = "<!-- rules -->", "<!-- end of rules -->"


def page(text: str) -> str:
    """The page with what the bench wrote in it: all figures, and the counts in short; and with every rule."""
    for marks, path in ((MARKS, SINGLE), (BESIDE_MARKS, BESIDE)):
        text = between(text, marks, f"```text\n{path.read_text(encoding='utf-8')}```")
    known = json.loads(FILE.read_text(encoding="utf-8"))
    text = between(text, RULES, "\n".join(every_rule()))
    return between(text, SHORT, "\n".join(in_short(known["single"], known["beside"])))


def renew() -> None:
    """In docs/rules.md."""
    PAGE.write_text(page(PAGE.read_text(encoding="utf-8")), encoding="utf-8")


def every_rule() -> list[str]:
    """A table of all that are registered, in the order in which they run."""
    taps, notes = registry.RULES, registry.NOTE_RULES
    return [
        "| rule | what it says | what of the sound it reads | for bare plates only | its errors were counted |",
        "|---|---|---|---|---|",
        *(_row(rule, "yes" if rule.bare_only else "no") for rule in taps),
        *(_row(rule, "no, for played notes") for rule in notes),
    ]


def _row(rule: Rule, bare_only: str) -> str:
    says = (sys.modules[rule.run.__module__].__doc__ or "").strip().splitlines()[0]
    reads = ", ".join(r for r in get_args(Reads) if r in rule.reads)
    return f"| {rule.title} (`{rule.name}`) | {says} | {reads} | {bare_only} | {rule.rates or 'no'} |"


def in_short(counts: Mapping[str, Any], beside: Mapping[str, Any]) -> list[str]:
    """A table of something relevant: single scans, then dispositions beside earlier ones (at 20 places)."""
    columns = {
        "20 places, first go": counts["any_relevant"],
        "part held where it buzzed": counts["ended"],
        f"{counts['more_places_tapped']} places, first go": counts["more_places_first"],
        "part held": counts["more_places_ended"],
        "beside one earlier scan": beside["any_relevant"],
        "beside three": beside["three"],
    }
    lines = [f"| plate | {' | '.join(columns)} |", f"|---{'|---' * len(columns)}|"]
    for kind in sorted(counts["any_relevant"], key=lambda k: (k != "sound", k)):
        words = "without a flaw" if kind == "sound" else kind
        lines.append(f"| {words} | {' | '.join(_cell(found.get(kind)) for found in columns.values())} |")
    return lines


def _cell(found: Mapping[str, Any] | None) -> str:
    if found is None:
        return "not run"
    return f"{found['spoke']} of {found['of']} ({100 * found['low']:.1f} to {100 * found['high']:.1f} %)"


if __name__ == "__main__":
    renew()
