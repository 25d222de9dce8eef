"""Scans of simulated castings for bench/pattern.py: five patterns, castings that scatter half as much as, as much as, and twice as much as docs/simulated-plates.md has it.

    Unit                     one casting of a pattern at one level of scatter
    heard(unit)              its scans as JSON: sound, and with each flaw that falls to it
    read_scans(folder, ...)  by kind of flaw, as tapscan.records.Scan

Mode lists with the errors and misses that the estimator has through the sound (bench/compare_scans.model_scan, contact pickup). Simulated; no iron was measured.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from bench import study
from bench.compare_scans import PICKUP, draw_state, model_scan
from bench.plates.castings import cast, draw_thickness, read_castings
from bench.simulate.supports import SLINGS
from tapscan import plain_values
from tapscan.demo.plates import Iron, Table, plate_modes
from tapscan.records import Scan
from tapscan.settings import Settings

LEVELS = {
    "half": 0.019,
    "as": 0.038,
    "double": 0.076,
}  # sd of the thickness from square to square; per mode .29, .58, 1.16 % or so
LOSS_SCATTER = 0.10  # of a mode, from casting to casting
LOSS_OF_CASTING = 0.20  # of all modes of a casting together, relative
LOSS_PROFILE = 0.17  # from mode to mode of one pattern, as draw_iron has it
MEAN_LOSS = (0.002, 0.010)
RUBBING = "rubbing"
HUNG = (
    3  # every third casting hangs in slings, the others lie on pads, moved and warm as compare_scans.draw_state has it
)


class Unit(Struct, frozen=True):
    """Even numbers are what references are drawn from; odd ones are tested. `places` are tapped."""

    pattern: str
    level: str
    number: int
    folder: str  # of the tables
    places: int = 12

    @property
    def name(self) -> str:
        """For seeds and files."""
        return f"{self.pattern} {self.level} {self.number:03d} {self.places}"


@cache
def _table(folder: str, pattern: str) -> Table:
    return read_castings(Path(folder) / f"{pattern}.npz")


def _picked(table: Table, labels: list[str]) -> Table:
    """Only these cases; a casting of the others need not be worked out."""
    rows = [table.labels.index(label) for label in labels]
    arrays = {k: v if k in ("cell_part", "cell_square", "outline") else v[rows] for k, v in table.arrays.items()}
    return Table(table.name, {**table.meta, "cases": [table.meta["cases"][i] for i in rows]}, arrays)


def labels_of(table: Table, number: int) -> list[str]:
    """The sound plate, and one of each kind of flaw, in turn."""
    kinds: dict[str, list[str]] = {}
    for case in table.meta["cases"]:
        kinds.setdefault(case["kind"], []).append(case["label"])
    return [labels[(number // 2) % len(labels)] for labels in kinds.values()]


def heard(unit: Unit) -> dict[str, Any]:
    """Scan by kind of flaw."""
    table = _table(unit.folder, unit.pattern)
    rng = np.random.default_rng(study.seed_of("pattern", unit.name))
    labels = labels_of(table, unit.number)
    made = cast(_picked(table, labels), *draw_thickness(table, rng, LEVELS[unit.level]))
    mean, profile = _of_pattern(unit.pattern, made.n_modes)
    own = mean * np.exp(LOSS_OF_CASTING * rng.standard_normal())
    scatter = np.exp(LOSS_SCATTER * rng.standard_normal(made.n_modes))
    patches = np.zeros(len(made.meta["patches"]))
    out = {}
    for row, case in enumerate(made.meta["cases"]):
        iron = Iron(0.0, patches, own * (made.arrays["basis_share"][row] @ profile) * scatter)
        out[case["kind"]] = _scan(made, case["label"], iron, unit, rng)
        if case["kind"] == "depth":
            sound = Iron(0.0, patches, own * (made.arrays["basis_share"][0] @ profile) * scatter)
            out[RUBBING] = _scan(made, "sound", sound, unit, rng, rubbing=case["label"])
    return {kind: plain_values.plain(scan) for kind, scan in out.items()}


def _scan(made: Table, label: str, iron: Iron, unit: Unit, rng: np.random.Generator, **state: object) -> Scan:
    held = draw_state(rng, **state)
    if unit.number % HUNG == 0:
        held = replace(held, supports=SLINGS)
    return model_scan(plate_modes(made, label, iron, held), PICKUP, rng, Settings(), unit.places)


@cache
def _of_pattern(pattern: str, modes: int) -> tuple[float, np.ndarray]:
    """Mean loss factor, and (modes,) each mode's over it."""
    rng = np.random.default_rng(study.seed_of("pattern losses", pattern))
    mean = float(np.exp(rng.uniform(*np.log(MEAN_LOSS))))
    return mean, np.exp(LOSS_PROFILE * rng.standard_normal(modes))


def path_of(work: Path, unit: Unit) -> Path:
    """Of what was heard."""
    return work / f"{unit.name.replace(' ', '_')}.json.gz"


def read_scans(work: Path, units: list[Unit]) -> Iterator[tuple[Unit, dict[str, Scan]]]:
    """Those that are there."""
    for unit in units:
        found = study.read(path_of(work, unit))
        if found is not None:
            yield unit, {kind: plain_values.revived(Scan, scan) for kind, scan in found.items()}
