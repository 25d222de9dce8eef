"""How often each rule is right and wrong, as far as the benches measured it, in words.

    reach(rule, settings_sha256)     a sentence; for other settings than those that ship, that nothing was measured
    single_scan_misses(sha256)       a sentence on severed struts that a single scan passes over
    limits_sha256(settings, part)    hash of the limits that the figures of one part of the file depend on
    FILE                             reach.json, written by bench/detection.py and bench/compare.py and by nothing else

The file holds, for each part, the hash of its limits and, for what was counted since it is kept, that of the numbers named in the rules; a test compares both with what ships.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, fields
from functools import cache
from pathlib import Path
from typing import Any, Literal

from tapscan.rule_limits import RuleLimits
from tapscan.settings import Settings, settings_sha256

FILE = Path(__file__).with_name("reach.json")
Part = Literal["single", "comparison", "beside"]
SINGLE = ("region_", "plate_", "area_", "ringing_", "tone_", "mode_clear", "decay_spread", "overlap")
COMPARISON = (
    *("pairing_", "repeat_", "compare_", "score_", "drop_", "fell_", "loss_", "finish_", "supports_", "temperature_"),
    *("thermometer_", "hours_", "miss_", "lost_", "mass_"),
)

KINDS = {
    "breathing crack, half a strut deep": "with half a strut cracked and the faces within a micrometre of touching",
    "closed crack that rubs, half a strut deep": "with a closed, rubbing crack through half a strut",
    "chilled region, losses scatter 10 %": "with a chilled region where losses scatter little",
    "chilled region, losses scatter 20 %": "with a chilled region where losses scatter more",
    "severed strut": "with a strut cut through",
}
AIMED = {
    "force-dependence": ("breathing crack, half a strut deep",),
    "long-decay": ("chilled region, losses scatter 10 %", "chilled region, losses scatter 20 %"),
    "dead-place": ("closed crack that rubs, half a strut deep",),
    "prominent-ringing": (),
}
MORE = {
    "dead-place": "Cloth, pads or loose parts that touch were not tried.",
    "prominent-ringing": "None of the flaws tried makes a pitch.",
}
NO_IRON = "No iron was measured (docs/rules.md)."
NO_IRON_COMPARED = "No iron was measured, and real supports and rooms may do worse (docs/comparison.md)."
NOT_MEASURED = (
    "error rates not measured yet. How often this rule speaks on a plate without a flaw, and how often it stays silent on one "
    "with a flaw, is not known."
)
OTHER_SETTINGS = "no measured reach for these settings: its error rates were counted with the limits that ship, and these are others."


def limits_sha256(settings: Settings, part: Part) -> str:
    """First 16 hex digits."""
    own = {f.name for f in fields(RuleLimits)} if part != "comparison" else set()
    starts = {"single": SINGLE, "comparison": COMPARISON, "beside": SINGLE + COMPARISON}[part]
    used = {k: float(v) for k, v in sorted(asdict(settings).items()) if k in own or k.startswith(starts)}
    return hashlib.sha256(json.dumps(used).encode()).hexdigest()[:16]


@cache
def measured() -> Mapping[str, Any]:
    """What the benches wrote."""
    return dict(json.loads(FILE.read_text(encoding="utf-8")))


@cache
def _shipped_sha256() -> str:
    return settings_sha256(Settings())


def reach(rule: str, used_sha256: str) -> str:
    """`used_sha256` : of the settings that the screening ran with."""
    if rule not in (*AIMED, "buzz", "string", "change-since-baseline"):
        return NOT_MEASURED
    if used_sha256 != _shipped_sha256():
        return OTHER_SETTINGS
    if rule == "change-since-baseline":
        return _compared(measured()["comparison"])
    figures = measured()["single"]
    if rule == "buzz":
        return _buzz(figures)
    if rule == "string":
        found = figures["string_on_bare"]
        return f"not measured on strings. On {_share(found)} simulated bare plates taken for strung it took plate tones for a string's. {NO_IRON}"
    return _rule(rule, figures)


def single_scan_misses(used_sha256: str) -> str:
    """For a first screen on which nothing was compared and nothing found; with figures only for the settings that ship."""
    said = "A strut that is cut through mostly passes unnoticed in a single scan"
    if used_sha256 != _shipped_sha256():
        return f"{said}."
    found = measured()["single"]["any_relevant"]["severed strut"]
    return f"{said} (on simulated plates it was noticed in {_share(found)})."


def _rule(rule: str, figures: Mapping[str, Any]) -> str:
    by_kind = {kind: found[rule] for kind, found in figures["relevant"].items()}
    rest = [by_kind[kind] for kind in KINDS if kind not in AIMED[rule]]
    other = {"spoke": sum(r["spoke"] for r in rest), "of": sum(r["of"] for r in rest)}
    found = [f"{_share(by_kind[kind])} {KINDS[kind]}" for kind in AIMED[rule]]
    found.append(f"{_share(other)} with {'another' if found else 'a'} flaw")
    plain = by_kind["sound"]
    told = f"on simulated plates with {figures['places_tapped']} places tapped it spoke on {_share(plain)} without a flaw ({_up_to(plain)}), and on {', on '.join(found)}."
    return " ".join(part for part in (told, _more_places(rule, figures), MORE.get(rule, ""), NO_IRON) if part)


def _more_places(rule: str, figures: Mapping[str, Any]) -> str:
    """What it finds where more places were tapped, for the flaws it looks for; empty where that was not tried."""
    by_kind = {kind: found[rule] for kind, found in figures.get("more_places", {}).items()}
    aimed = [f"{_share(by_kind[kind])} {KINDS[kind]}" for kind in AIMED[rule] if kind in by_kind]
    if not aimed or "sound" not in by_kind:
        return ""
    places, plain = figures["more_places_tapped"], _share(by_kind["sound"])
    return f"With {places} places tapped it spoke on {plain} without a flaw and on {' and on '.join(aimed)}."


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
