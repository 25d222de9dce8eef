"""What the rules say of finished scans, counted by kind of plate; for bench/detection.py.

judged(plate, row)             Judged: what each rule said of one scan
judged_of(plates, work, cores) of all that are finished
held_again(plates, told)       those heard to buzz, as the report asks: the part held, tapped again
followed(plates, told)         the scans that count where a part is held after a buzz
counted(rows), counted_kinds(rows), relevant_by_rule(rows)   for tapscan/report/reach.json
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from bench import study
from bench.detection_pairs import Told
from bench.detection_scans import Plate
from bench.detection_store import SETTINGS, Row, read
from bench.reach_file import share
from tapscan.records import Scan
from tapscan.screening.mode_origins import with_origins
from tapscan.screening.rules import RULES, local_ringing, run_rules
from tapscan.screening.rules.buzz import buzzing
from tapscan.screening.string_series import string_series


class Judged(Struct, frozen=True):
    """What the rules said of one scan."""

    kind: str
    pattern: str
    label: str  # of the flaw
    rattles: bool
    relevant: frozenset[str]  # rules that raised something relevant
    other: frozenset[str]  # and those that raised something else
    rings_alone: bool  # the rule that is off by default, switched on
    string: bool  # taken for strung, it showed a string
    buzzes: bool = False  # a part is to be held, and the plate to be tapped again


def judged(plate: Plate, row: Row) -> Judged:
    """All rules, and the asides."""
    scan = with_origins(row.scan, SETTINGS)
    relevant, other = said(scan)
    alone = bool(local_ringing.run(scan, SETTINGS.but(local_ringing.LocalRingingLimits, on=1.0)))
    strings = bool(string_series(scan.modes, SETTINGS))
    buzzes = bool(buzzing(row.scan, SETTINGS))
    return Judged(row.kind, row.pattern, plate.label, row.rattles, relevant, other, alone, strings, buzzes)


def judged_of(plates: Sequence[Plate], work: Path, cores: int) -> dict[str, Judged]:
    """By the plate's name. A scan is far larger than what is said of it: it is read by who judges it."""
    found = study.finished(plates, partial(_judged_in, work=work), float("inf"), cores)
    return {plate.name: told for plate, told in found if told is not None}


def _judged_in(plate: Plate, work: Path) -> Judged | None:
    rows = read([plate], work)
    return judged(plate, rows[plate.name]) if rows else None


def held_again(plates: Iterable[Plate], told: Mapping[str, Judged]) -> list[Plate]:
    """Of the plates on whose scans something was heard to buzz."""
    return [replace(p, held=True) for p in plates if p.name in told and told[p.name].buzzes]


def followed(plates: Iterable[Plate], told: Mapping[str, Judged]) -> dict[str, Plate]:
    """The scan that counts, by the first one's name: where something was heard to buzz the one with the part held, or none while that is not finished."""
    out = {p.name: p for p in plates if p.name in told}
    for held in held_again(list(out.values()), told):
        first = replace(held, held=False).name
        del out[first]
        if held.name in told:
            out[first] = held
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
