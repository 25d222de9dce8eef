"""The tables of bench/detection.py beside one and three earlier scans of the same casting, as text.

report(tables, beside, cores, made_by)   all tables; what is told of each pair comes from bench/detection_pairs.py
counts_of(beside)                        what goes into tapscan/report/reach.json
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from bench.detection_counts import counted_kinds
from bench.detection_pairs import Told, modelled_chill, pair_table
from bench.detection_store import EARLIER
from bench.detection_tables import head
from tapscan.demo.plates import Table

Beside = Mapping[int, Sequence[Told]]  # by the number of earlier scans


def report(tables: Mapping[str, Table], beside: Beside, cores: int, made_by: str) -> str:
    """All tables as text; `made_by` the head of the version that made the scans."""
    told = [
        line
        for n, found in beside.items()
        for line in ("", f"The disposition beside {n} earlier {'scan' if n == 1 else 'scans'}", *pair_table(found))
    ]
    return "\n".join(
        [
            *head("beside", made_by),
            *["", "Beside earlier scans of the same casting; in the later scan the part held where something buzzed"],
            *told,
            *[
                "",
                "Mode lists beside three earlier scans, the same patterns: the comparison",
                *modelled_chill(tables, cores),
            ],
            "",
        ]
    )


def counts_of(beside: Beside) -> dict[str, Any]:
    """Something relevant, by kind."""
    return {"any_relevant": counted_kinds(beside[1]), "three": counted_kinds(beside[EARLIER])}
