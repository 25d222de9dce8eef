"""The numbers that the code itself names: a measured rate counts only as long as they stay as they were when it was counted.

constants(part)          sorted (name, value) of every number, or tuple of numbers, that a module names in capitals
constants_sha256(part)   the first 16 hex digits of their hash; thresholds in the settings have a hash of their own

`signal` counts for every part; of `screening` the comparison's modules for the comparison and the others for both, but for those whose numbers only choose
words. `location` counts the rough model, what is made of it, and the signs that it rests on, `pattern` the modules of a plate beside its pattern, `piano` those of two scans in the piano, `notes` those of played notes, and `bare` what a comparison out of the piano allows for supports; these count for
nothing else. Names without their module, so that a module may move. Code and unnamed numbers are not seen.
"""

import hashlib
import importlib
import inspect
import json
import pkgutil
import re
from functools import cache
from types import ModuleType
from typing import Any

import tapscan.model
import tapscan.screening
import tapscan.signal
from tapscan.settings.threshold import Part

WORDS = (
    "constants",
    "in_words",
    "limitations",
    "notes",
    "disposition",
    "next_steps",
    "open_findings",
    "conclude",
    "visit_advice",
)
COMPARISON = "tapscan.screening.compare."
LOCATION = ("tapscan.screening.location.", "tapscan.model.", "tapscan.signal.plate.signs")
PIANO = ("tapscan.screening.piano.", "tapscan.screening.rules.change_in_piano")
PATTERN = ("tapscan.screening.pattern.", "tapscan.screening.rules.unlike_its_pattern")  # counted on lists of modes
BARE = ("tapscan.screening.compare.moved_supports",)
NOTES = ("tapscan.signal.notes.", "tapscan.screening.rules.note_buzz", "tapscan.screening.rules.ringing_on")
APART: dict[str, tuple[str, ...]] = {
    "location": LOCATION,
    "pattern": PATTERN,
    "piano": PIANO,
    "notes": NOTES,
    "bare": BARE,
}  # parts by themselves
DIGITS = 16
GIVEN = re.compile(r"^((?:[A-Z][A-Z0-9_]*, )*[A-Z][A-Z0-9_]*)(?:: [^=\n]+)? = ", re.MULTILINE)
NAME = re.compile(r"\w+")


@cache
def constants_sha256(part: Part) -> str:
    """Of what the package is now."""
    return hashlib.sha256(json.dumps(constants(part)).encode()).hexdigest()[:DIGITS]


def constants(part: Part) -> list[tuple[str, Any]]:
    """Of the modules that the rates of `part` rest on."""
    found = [(k, getattr(m, k)) for m in _modules(part) for k in _named(m) if _numeric(getattr(m, k))]
    return sorted(found, key=json.dumps)


def _modules(part: Part) -> list[ModuleType]:
    names = [
        m.name
        for package in (tapscan.model, tapscan.signal, tapscan.screening)
        for m in pkgutil.walk_packages(package.__path__, f"{package.__name__}.")
        if not m.ispkg and m.name.rpartition(".")[2] not in WORDS
    ]
    return [importlib.import_module(n) for n in sorted(names) if _counts(n, part)]


def _counts(module: str, part: Part) -> bool:
    apart = next((own for own, modules in APART.items() if module.startswith(modules)), None)
    if apart is not None or part in APART:
        return apart == part
    return part == "comparison" or not module.startswith(COMPARISON)


def _named(module: ModuleType) -> list[str]:
    """Names in capitals that the module itself gives: what stands at the beginning of a line, which is read ten times sooner than by Python's own parser."""
    return sorted(name for names in GIVEN.findall(inspect.getsource(module)) for name in NAME.findall(names))


def _numeric(value: object) -> bool:
    if isinstance(value, tuple):
        return bool(value) and all(_numeric(v) for v in value)
    return isinstance(value, int | float) and not isinstance(value, bool)
