"""Writes one part of tapscan/report/reach.json: what the report says of a rule's errors is what a bench counted.

share(hits, of)               {"spoke", "of", "low", "high"}, Clopper-Pearson 95 %
write_part(part, figures)     the other part stays as it was
"""

from __future__ import annotations

import json
import time
from typing import Any

from bench.pod import clopper_pearson
from tapscan.report.reach import FILE, Part, limits_sha256
from tapscan.settings import Settings


def share(hits: int, of: int) -> dict[str, Any]:
    low, high = clopper_pearson(hits, of)
    return {"spoke": hits, "of": of, "low": round(low, 5), "high": round(high, 5)}


def write_part(part: Part, figures: dict[str, Any]) -> None:
    known = json.loads(FILE.read_text(encoding="utf-8")) if FILE.exists() else {}
    head = {"limits_sha256": limits_sha256(Settings(), part), "written": time.strftime("%Y-%m-%d"), "simulated": True}
    known[part] = {**head, **figures}
    FILE.write_text(json.dumps(known, indent=1, sort_keys=True) + "\n", encoding="utf-8")
