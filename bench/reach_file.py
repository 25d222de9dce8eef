"""Writes one part of tapscan/report/reach.json: what the report says of a rule's errors is what a bench counted.

share(hits, of)               {"spoke", "of", "low", "high"}, Clopper-Pearson 95 %
write_part(part, figures)     the other parts stay as they were
form_sha256()                 hash of the numbers that stand in tapscan/screening itself; those in the settings have their own (report/reach.py)
"""

from __future__ import annotations

import hashlib
import importlib
import json
import pkgutil
import time
from typing import Any

import tapscan.screening
from bench.pod import clopper_pearson
from tapscan.report.reach import FILE, Part, limits_sha256
from tapscan.settings import Settings


def share(hits: int, of: int) -> dict[str, Any]:
    low, high = clopper_pearson(hits, of)
    return {"spoke": hits, "of": of, "low": round(low, 5), "high": round(high, 5)}


def write_part(part: Part, figures: dict[str, Any]) -> None:
    known = json.loads(FILE.read_text(encoding="utf-8")) if FILE.exists() else {}
    head = {
        "limits_sha256": limits_sha256(Settings(), part),
        "form_sha256": form_sha256(),
        "written": time.strftime("%Y-%m-%d"),
        "simulated": True,
    }
    known[part] = {**head, **figures}
    FILE.write_text(json.dumps(known, indent=1, sort_keys=True) + "\n", encoding="utf-8")


def form_sha256() -> str:
    """First 16 hex digits."""
    return hashlib.sha256(json.dumps(numbers()).encode()).hexdigest()[:16]


def numbers() -> list[tuple[str, str, Any]]:
    """Module, name and value of every constant of tapscan/screening that is a number or a tuple of numbers, whatever how deep."""
    package = tapscan.screening
    names = sorted(m.name for m in pkgutil.walk_packages(package.__path__, f"{package.__name__}."))
    modules = [(n, vars(importlib.import_module(n))) for n in names]
    return [(n, k, v) for n, own in modules for k, v in sorted(own.items()) if k.isupper() and _numeric(v)]


def _numeric(value: object) -> bool:
    if isinstance(value, tuple):
        return bool(value) and all(_numeric(v) for v in value)
    return isinstance(value, int | float) and not isinstance(value, bool)
