"""What the rules say of finished scans, counted by kind of plate; for bench/detection.py.

judged(row)                    Judged: what each rule said of one scan
followed(plates, rows)         the scans that count where a part is held after a buzz
counted(rows), counted_kinds(rows), relevant_by_rule(rows)   for tapscan/report/reach.json
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from bench.detection_pairs import Told
from bench.detection_scans import Plate
from bench.detection_store import SETTINGS, Row, held_again
from bench.reach_file import share
from tapscan.records import Scan
from tapscan.screening.rules import RULES, local_ringing, run_rules
from tapscan.screening.strings import string_series
from tapscan.screening.tone_origins import with_origins


@dataclass(frozen=True)
class Judged:
    """What the rules said of one scan."""

    kind: str
    pattern: str
    label: str  # of the flaw
    rattles: bool
    relevant: frozenset[str]  # rules that raised something relevant
    other: frozenset[str]  # and those that raised something else
    rings_alone: bool  # the rule that is off by default, switched on
    string: bool  # taken for strung, it showed a string


def judged(plate: Plate, row: Row) -> Judged:
    """All rules, and the asides."""
    scan = with_origins(row.scan, SETTINGS)
    relevant, other = said(scan)
    alone = bool(local_ringing.run(scan, SETTINGS.but(local_ringing.LocalRingingLimits, on=1.0)))
    strings = bool(string_series(scan.modes, SETTINGS))
    return Judged(row.kind, row.pattern, plate.label, row.rattles, relevant, other, alone, strings)


def followed(plates: Sequence[Plate], rows: Mapping[str, Row]) -> dict[str, Row]:
    """The rows; where something was heard to buzz what was found with the part held, under the first scan's name, or nothing while that scan is not finished."""
    out = dict(rows)
    for held in held_again(plates, rows):
        first = replace(held, held=False).name
        del out[first]
        if held.name in rows:
            out[first] = rows[held.name]
    return out


def said(scan: Scan) -> tuple[frozenset[str], frozenset[str]]:
    """Rules that raised something relevant, and those that raised something else; origins are told already."""
    found, _ = run_rules(scan, SETTINGS)
    return (
        frozenset(i.rule for i in found if i.interpretation == "relevant"),
        frozenset(i.rule for i in found if i.interpretation != "relevant"),
    )


def kinds_of(rows: Sequence[Judged]) -> list[str]:
    """The one without a flaw first."""
    return sorted({r.kind for r in rows}, key=lambda k: (k != "sound", k))


def counted(rows: Sequence[Judged]) -> dict[str, Any]:
    """What the report says of each rule, for tapscan/report/reach.json; and what a test holds against docs/rules.md."""
    sound = [r for r in rows if r.kind == "sound"]
    return {
        "relevant": relevant_by_rule(rows),
        "any_relevant": counted_kinds(rows),
        "buzz": {
            name: share(
                sum(_buzzes(r) for r in sound if r.rattles == rattles), sum(r.rattles == rattles for r in sound)
            )
            for name, rattles in (("rattling", True), ("quiet", False))
        },
        "string_on_bare": share(sum(r.string for r in sound), len(sound)),
    }


def relevant_by_rule(rows: Sequence[Judged]) -> dict[str, Any]:
    """Kind, rule: how often that rule raised something relevant."""
    by_kind = {k: [r for r in rows if r.kind == k] for k in kinds_of(rows)}
    names = [rule.name for rule in RULES]
    return {
        k: {n: share(sum(n in r.relevant for r in found), len(found)) for n in names} for k, found in by_kind.items()
    }


def counted_kinds(rows: Sequence[Judged] | Sequence[Told]) -> dict[str, Any]:
    """Something relevant, by kind."""
    by_kind = {k: [bool(r.relevant) for r in rows if r.kind == k] for k in sorted({r.kind for r in rows})}
    return {k: share(sum(found), len(found)) for k, found in by_kind.items()}


def _buzzes(row: Judged) -> bool:
    return "buzz" in row.relevant | row.other
