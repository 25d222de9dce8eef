"""How often each rule is right and wrong, as far as the benches measured it, in words.

    error_rates(rule, used)        a sentence; for other thresholds than those that ship, that nothing was measured
    single_scan_misses(used)       what a single scan does not show
    shipped_limits(part)           hash of the shipped thresholds that the figures of one part of the file depend on
    constants_of(part)             the same of the numbers in the code; where they have changed since, the sentence says so
    FILE                           reach.json, written by bench/detection.py and bench/compare.py and by nothing else

The file holds, for each part, the hash of its thresholds and, for what was counted since it is kept, that of the constants in the code; a test compares both with
what ships. `used` are the hashes of the thresholds that a screening ran with (Screening.limits_sha256). Which flaws a rule is meant for stands in its own file.
"""

import json
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, Literal

from tapscan.screening.constants import constants_sha256
from tapscan.screening.rule import Rates, Rule
from tapscan.screening.rules import RULE_LIMITS, rule_named
from tapscan.settings import Settings, limits_sha256
from tapscan.settings.threshold import Part

FILE = Path(__file__).with_name("reach.json")
Table = Literal["single", "comparison", "beside", "pattern"]
DEPENDS: dict[Table, tuple[Part, ...]] = {
    "single": ("single",),
    "comparison": ("comparison",),
    "beside": ("single", "comparison"),
    "pattern": ("pattern",),
}
TABLES: dict[Rates, Table] = {"compared": "comparison", "beside its pattern": "pattern"}  # the others: single
Used = Sequence[tuple[str, str]]

KINDS = {
    "breathing crack, half a strut deep": "with half a strut cracked and the faces within a micrometre of touching",
    "closed crack that rubs, half a strut deep": "with a closed, rubbing crack through half a strut",
    "chilled region, losses scatter 10 %": "with a chilled region where losses scatter little",
    "chilled region, losses scatter 20 %": "with a chilled region where losses scatter more",
    "severed strut": "with a strut cut through",
}
NO_IRON = "No iron was measured (docs/rules.md)."
NO_IRON_PATTERN = "No iron was measured, and real castings may scatter otherwise (docs/patterns.md)."
NO_IRON_COMPARED = "No iron was measured, and real supports and rooms may do worse (docs/comparison.md)."
NOT_MEASURED = (
    "error rates not measured yet. How often this rule speaks on a plate without a flaw, and how often it stays silent on one "
    "with a flaw, is not known."
)
EARLIER = "These figures were counted with an earlier version of the program, whose limits or own numbers were others; they were not counted again yet."
OTHER_SETTINGS = "no measured reach for these settings: its error rates were counted with the limits that ship, and these are others."


@cache
def shipped_limits(table: Table) -> str:
    """First 16 hex digits."""
    return limits_sha256(Settings(), DEPENDS[table], RULE_LIMITS)


@cache
def constants_of(table: Table) -> str:
    """Hash of the numbers in the code, as they are now, that the figures of one part of the file depend on."""
    return "+".join(constants_sha256(part) for part in DEPENDS[table])


@cache
def measured() -> Mapping[str, Any]:
    """What the benches wrote."""
    return dict(json.loads(FILE.read_text(encoding="utf-8")))


def error_rates(name: str, used: Used) -> str:
    """Of the rule `name`."""
    rule = rule_named(name)
    if rule is None or rule.rates is None:
        return NOT_MEASURED
    table = TABLES.get(rule.rates, "single")
    if table not in measured():
        return NOT_MEASURED
    if not _as_shipped(table, used):
        return OTHER_SETTINGS
    said = _said(rule, measured()[table])
    return said if _as_counted(table) else f"{said} {EARLIER}"


def _as_counted(table: Table) -> bool:
    now = {"limits_sha256": shipped_limits(table), "constants_sha256": constants_of(table)}
    return all(measured()[table].get(name) == value for name, value in now.items())


def _said(rule: Rule, figures: Mapping[str, Any]) -> str:
    if rule.rates == "compared":
        return _compared(figures)
    if rule.rates == "beside its pattern":
        return _beside_pattern(rule, figures)
    if rule.rates == "with and without a rattle":
        return _buzz(figures)
    if rule.rates == "on bare plates":
        found = figures["string_on_bare"]
        return f"not measured on strings. On {_share(found)} simulated bare plates taken for strung it took plate tones for a string's. {NO_IRON}"
    return _by_kind(rule, figures)


def _as_shipped(table: Table, used: Used) -> bool:
    return dict(used).get(table) == shipped_limits(table)


def single_scan_misses(used: Used) -> str:
    """For a first screen on which nothing was compared and nothing found; with figures only for the settings that ship."""
    said = "A strut that is cut through mostly passes unnoticed in a single scan"
    if not _as_shipped("single", used):
        return f"{said}."
    found = measured()["single"]["any_relevant"]["severed strut"]
    return f"{said} (on simulated plates it was noticed in {_share(found)})."


def _by_kind(rule: Rule, figures: Mapping[str, Any]) -> str:
    by_kind = {kind: found[rule.name] for kind, found in figures["relevant"].items()}
    rest = [by_kind[kind] for kind in KINDS if kind not in rule.aims]
    other = {"spoke": sum(r["spoke"] for r in rest), "of": sum(r["of"] for r in rest)}
    found = [f"{_share(by_kind[kind])} {KINDS[kind]}" for kind in rule.aims]
    found.append(f"{_share(other)} with {'another' if found else 'a'} flaw")
    plain = by_kind["sound"]
    told = f"on simulated plates with {figures['places_tapped']} places tapped it spoke on {_share(plain)} without a flaw ({_up_to(plain)}), and on {', on '.join(found)}."
    return " ".join(part for part in (told, _more_places(rule, figures), rule.beyond, NO_IRON) if part)


def _more_places(rule: Rule, figures: Mapping[str, Any]) -> str:
    """What it finds where more places were tapped, for the flaws it looks for; empty where that was not tried."""
    by_kind = {kind: found[rule.name] for kind, found in figures.get("more_places", {}).items()}
    aimed = [f"{_share(by_kind[kind])} {KINDS[kind]}" for kind in rule.aims if kind in by_kind]
    if not aimed or "sound" not in by_kind:
        return ""
    places, plain = figures["more_places_tapped"], _share(by_kind["sound"])
    return f"With {places} places tapped it spoke on {plain} without a flaw and on {' and on '.join(aimed)}."


def _beside_pattern(rule: Rule, figures: Mapping[str, Any]) -> str:
    plain, found = figures["unflawed"], figures["found"]
    told = "; ".join(
        f"beside {count} on {_share(found['severed'][count])} with a severed strut and on {_share(found['rubbing'][count])} with a crack that rubs"
        for count in found["severed"]
    )
    return f"on simulated castings tapped at {figures['places_tapped']} places it spoke on {_share(plain)} without a flaw ({_up_to(plain)}); {told}. {rule.beyond} {NO_IRON_PATTERN}"


def _buzz(figures: Mapping[str, Any]) -> str:
    with_rattle, without = figures["buzz"]["rattling"], figures["buzz"]["quiet"]
    return f"on simulated plates it was heard on {_share(with_rattle)} with a rattling screw and on {_share(without)} without. {NO_IRON}"


def _compared(figures: Mapping[str, Any]) -> str:
    plain, cracked = figures["unchanged"], figures["cracked"]
    return (
        f"on simulated plates, by contact pickup and with three baseline scans, it spoke on {_share(plain)} that had not changed "
        f"({_up_to(plain)}) and on {_share(cracked)} with one of the cracks tried, from a tenth of a strut's depth up; by microphone, above all with "
        f"one baseline scan, it sees less. {NO_IRON_COMPARED}"
    )


def _share(found: Mapping[str, Any]) -> str:
    return f"{found['spoke'] or 'none'} of {found['of']}"


def _up_to(found: Mapping[str, Any]) -> str:
    return f"95 % interval: up to {100 * found['high']:.1f} %"
