"""The numbers that the code itself names: a measured rate counts only as long as they stay as they were when it was counted.

constants(part)          sorted (name, value) of every number that a module names in capitals, and of tuples, arrays, slices and tables of numbers
constants_sha256(part)   the first 16 hex digits of their hash; thresholds in the settings have a hash of their own

`signal` counts for every part, and onset.py with it; of `screening` the comparison's modules for the comparison and the others for both, but for those whose numbers only choose
words. `location` counts the rough model, what is made of it, and the signs that it rests on, `pattern` the modules of a plate beside its pattern, `piano` those of two scans in the piano, `notes` those of played notes, and `bare` what a comparison out of the piano allows for supports; these count for
nothing else. Names without their module, and each pair once, so that a module may move and two become one. Code and unnamed numbers are not seen, nor are those of
CUTS, which cut up work and choose no figure. `python -m bench.reach_file` keeps a rate as counted where names changed and no figure did.
"""

import hashlib
import importlib
import inspect
import json
import pkgutil
import re
from functools import cache
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np

import tapscan.model
import tapscan.screening
import tapscan.signal

if TYPE_CHECKING:  # an earlier version, of which bench/reach_file.py asks its numbers, may have it elsewhere
    from tapscan.settings.definition import Part

WORDS = (
    "constants",
    "in_words",
    "limitations",
    "notes",
    "disposition",
    "next_steps",
    "short_steps",
    "open_findings",
    "past_scan",
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
CUTS = (
    "STRETCH",
    "ROW",
    "LONG",
    "CARRIED",
    "TOGETHER",
)  # lengths of pieces, with which answers move by rounding alone (tests hold it), and how many numbers one hands to the next
ALONE = ("tapscan.onset",)  # modules outside these packages
DIGITS = 16
FIGURES = 9  # of an array's values: the last ones differ from machine to machine
GIVEN = re.compile(r"^((?:[A-Z][A-Z0-9_]*, )*[A-Z][A-Z0-9_]*)(?:: [^=\n]+)? = ", re.MULTILINE)
NAME = re.compile(r"\w+")


@cache
def constants_sha256(part: "Part") -> str:
    """Of what the package is now."""
    return hashlib.sha256(json.dumps(constants(part)).encode()).hexdigest()[:DIGITS]


def constants(part: "Part") -> list[tuple[str, Any]]:
    """Of the modules that the rates of `part` rest on."""
    named = [(k, getattr(m, k)) for m in _modules(part) for k in _named(m) if k not in CUTS]
    found = {json.dumps(pair): pair for k, value in named if numeric(value) for pair in [(k, _written(value))]}
    return [found[text] for text in sorted(found)]


def _modules(part: "Part") -> list[ModuleType]:
    inside = [
        m.name
        for package in (tapscan.model, tapscan.signal, tapscan.screening)
        for m in pkgutil.walk_packages(package.__path__, f"{package.__name__}.")
        if not m.ispkg and m.name.rpartition(".")[2] not in WORDS
    ]
    return [importlib.import_module(n) for n in sorted([*ALONE, *inside]) if _counts(n, part)]


def _counts(module: str, part: "Part") -> bool:
    apart = next((own for own, modules in APART.items() if module.startswith(modules)), None)
    if apart is not None or part in APART:
        return apart == part
    return part == "comparison" or not module.startswith(COMPARISON)


def _named(module: ModuleType) -> list[str]:
    """Names in capitals that the module itself gives: what stands at the beginning of a line, which is read ten times sooner than by Python's own parser."""
    return sorted(name for names in GIVEN.findall(inspect.getsource(module)) for name in NAME.findall(names))


def numeric(value: object) -> bool:
    """A number, or something made of numbers alone."""
    if isinstance(value, dict):
        value = tuple(value.values())
    if isinstance(value, tuple | frozenset | list):
        return bool(value) and all(numeric(v) for v in value)
    return isinstance(value, int | float | np.ndarray | slice) and not isinstance(value, bool)


def _written(value: Any) -> Any:
    """As JSON has it."""
    if isinstance(value, np.ndarray):
        return [f"{x:.{FIGURES}g}" for x in value.ravel().tolist()]
    if isinstance(value, slice):
        return [value.start, value.stop, value.step]
    if isinstance(value, dict):
        return sorted(value.items())
    return sorted(value) if isinstance(value, frozenset) else value
