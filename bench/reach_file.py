"""Writes one part of tapscan/report/reach.json: what the report says of a rule's errors is what a bench counted.

share(hits, of)               {"spoke", "of", "low", "high"}, Clopper-Pearson 95 %
part_of(part)                 as it is written; empty where it is not
write_part(part, figures)     the other parts stay as they were
"""

from __future__ import annotations

import json
import time
from typing import Any

from bench.study import clopper_pearson
from tapscan.report.error_rates import FILE, Table, constants_of, shipped_limits


def share(hits: int, of: int) -> dict[str, Any]:
    low, high = clopper_pearson(hits, of)
    return {"spoke": hits, "of": of, "low": round(low, 6), "high": round(high, 6)}


def part_of(part: Table) -> dict[str, Any]:
    return dict(json.loads(FILE.read_text(encoding="utf-8")).get(part, {})) if FILE.exists() else {}


def write_part(part: Table, figures: dict[str, Any]) -> None:
    known = json.loads(FILE.read_text(encoding="utf-8")) if FILE.exists() else {}
    head = {
        "limits_sha256": shipped_limits(part),
        "constants_sha256": constants_of(part),
        "written": time.strftime("%Y-%m-%d"),
        "simulated": True,
    }
    known[part] = {**head, **figures}
    FILE.write_text(json.dumps(known, indent=1, sort_keys=True) + "\n", encoding="utf-8")
