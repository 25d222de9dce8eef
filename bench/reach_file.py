"""Writes one part of tapscan/report/reach.json: what the report says of a rule's errors is what a bench counted.

share(hits, of)               {"spoke", "of", "low", "high"}, Clopper-Pearson 95 %
write_part(part, figures)     the other parts stay as they were
constants_sha256()            hash of the named numbers of tapscan/screening; those in the settings have their own (report/error_rates.py). Code and unnamed numbers are not in it
"""

from __future__ import annotations

import ast
import hashlib
import importlib
import inspect
import json
import pkgutil
import time
from types import ModuleType
from typing import Any

import tapscan.screening
from bench.pod import clopper_pearson
from tapscan.report.error_rates import FILE, Table, shipped_limits

WORDS = (
    "in_words",
    "limitations",
    "notes",
    "disposition",
    "next_steps",
    "open_findings",
)  # their numbers say how many names a sentence takes and the like; open findings change headline and steps, never the disposition


def share(hits: int, of: int) -> dict[str, Any]:
    low, high = clopper_pearson(hits, of)
    return {"spoke": hits, "of": of, "low": round(low, 6), "high": round(high, 6)}


def write_part(part: Table, figures: dict[str, Any]) -> None:
    known = json.loads(FILE.read_text(encoding="utf-8")) if FILE.exists() else {}
    head = {
        "limits_sha256": shipped_limits(part),
        "constants_sha256": constants_sha256(),
        "written": time.strftime("%Y-%m-%d"),
        "simulated": True,
    }
    known[part] = {**head, **figures}
    FILE.write_text(json.dumps(known, indent=1, sort_keys=True) + "\n", encoding="utf-8")


def constants_sha256() -> str:
    """First 16 hex digits."""
    return hashlib.sha256(json.dumps(constants()).encode()).hexdigest()[:16]


def constants() -> list[tuple[str, Any]]:
    """Name and value, sorted, so that a module may move, of every number or tuple of numbers that a module of tapscan/screening names, but for those that only choose words."""
    package = tapscan.screening
    names = sorted(m.name for m in pkgutil.walk_packages(package.__path__, f"{package.__name__}."))
    modules = [importlib.import_module(n) for n in names if n.rpartition(".")[2] not in WORDS]
    found = [(k, getattr(m, k)) for m in modules for k in _named(m) if _numeric(getattr(m, k))]
    return sorted(found, key=json.dumps)


def _named(module: ModuleType) -> list[str]:
    """Names in capitals that the module itself gives."""
    targets = [
        target
        for node in ast.parse(inspect.getsource(module)).body
        for target in (
            node.targets if isinstance(node, ast.Assign) else [node.target] if isinstance(node, ast.AnnAssign) else []
        )
    ]
    flat = [t for target in targets for t in (target.elts if isinstance(target, ast.Tuple) else [target])]
    return sorted(t.id for t in flat if isinstance(t, ast.Name) and t.id.isupper())


def _numeric(value: object) -> bool:
    if isinstance(value, tuple):
        return bool(value) and all(_numeric(v) for v in value)
    return isinstance(value, int | float) and not isinstance(value, bool)
