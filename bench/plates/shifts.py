"""How far cracks at many places move frequencies, beside a planning study (also simulated).

``largest_shifts``   largest drop of every crack in a folder's tables
``shift_table``      the same as lines of text: weakest place, median, strongest place

A single place says little: the same crack moves modes ten times as much where the plate bends as where it does not. So the
study's figures, from one or a few places of another outline, are set against the median over places.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tapscan.demo.plates import Table, read_table

FIRST = slice(3, 63)  # the first 60 modes that bend, as in the study
# Largest shift in % over the first 60 modes, (low, high), of a planning study by finite elements on one other outline.
STUDY = {
    ("width", 0.25): (0.05, 0.15),
    ("width", 0.50): (0.19, 0.55),
    ("severed", 1.00): (17.0, 49.0),
    ("depth", 0.10): (0.06, 0.16),
    ("depth", 0.25): (0.3, 0.9),
    ("depth", 0.50): (1.2, 4.2),
    ("corner", 0.03): (1.0, 1.0),
    ("inner corner", 0.03): (0.26, 0.26),
    ("inner corner", 0.06): (0.69, 0.69),
    ("bolt", 0.03): (0.07, 0.07),
    ("bolt", 0.06): (0.32, 0.32),
    ("pin", 0.03): (0.33, 0.33),
    ("pin", 0.06): (0.72, 0.72),
    ("rim", 0.03): (2.3, 2.3),
}
Key = tuple[str, float]


def largest_shifts(table: Table) -> list[tuple[Key, float, str]]:
    """(kind and size, largest drop in %, label) of every crack of a table."""
    frequency = table.arrays["frequency_hz"][:, FIRST]
    out = []
    for number, case in enumerate(table.meta["cases"]):
        if case["kind"] not in ("sound", "chill"):
            drop = 100.0 * float((1.0 - frequency[number] / frequency[0]).max())
            out.append(((case["kind"], case["size"]), drop, case["label"]))
    return out


def shift_table(folder: Path) -> list[str]:
    """Lines of text on all tables of a folder; ``ValueError`` where there is none."""
    tables = [read_table(path) for path in sorted(folder.glob("*.npz"))]
    if not tables:
        raise ValueError(f"no tables in {folder}: make them with python -m bench.plates cache")
    lines = ["largest shift over the first 60 modes, % (simulated; no iron was tapped)"]
    lines.append(
        f"{'flaw':28s} {'pattern':22s} places  weakest median strongest  study      median/study  weakest place"
    )
    for key, (low, high) in STUDY.items():
        for table in tables:
            found = [(drop, label) for flaw, drop, label in largest_shifts(table) if flaw == key]
            if found:
                lines.append(_line(table.name, sorted(found), low, high))
    return lines


def _line(pattern: str, found: list[tuple[float, str]], low: float, high: float) -> str:
    drops = [drop for drop, _ in found]
    middle = float(np.median(drops))
    study = f"{low:g}" if low == high else f"{low:g}-{high:g}"
    flaw, place = found[0][1].split(", ", maxsplit=1)
    return (
        f"{flaw:28s} {pattern:22s} {len(found):6d} {drops[0]:8.3f} {middle:6.3f} {drops[-1]:9.3f}  {study:10s}"
        f" {middle / np.sqrt(low * high):12.2f}  {place}"
    )
