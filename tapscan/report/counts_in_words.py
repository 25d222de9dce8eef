"""Counts that a bench wrote, in words.

alarms(found)     "2 false alarms in 160"
share(found)      "none of 40"
up_to(found)      "95 % interval: up to 4.4 %"
total(rows)       several counts as one
"""

from collections.abc import Mapping, Sequence
from typing import Any

from tapscan import wording


def alarms(found: Mapping[str, Any]) -> str:
    """Of scans without a flaw."""
    return f"{wording.counted(found['spoke'], 'false alarm') if found['spoke'] else 'no false alarm'} in {found['of']}"


def share(found: Mapping[str, Any]) -> str:
    """Of all, in figures; none as a word."""
    return f"{found['spoke'] or 'none'} of {found['of']}"


def up_to(found: Mapping[str, Any]) -> str:
    """Of a rate, Clopper-Pearson."""
    return f"95 % interval: up to {100 * found['high']:.1f} %"


def total(rows: Sequence[Mapping[str, Any]]) -> dict[str, int]:
    """`spoke` and `of`, added up."""
    return {"spoke": sum(r["spoke"] for r in rows), "of": sum(r["of"] for r in rows)}
