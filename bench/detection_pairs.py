"""What the disposition says with a baseline: each finished scan beside earlier ones of the same casting.

    pairs(plates, rows, earlier)   Told for every plate whose scan and whose so many earlier scans are finished
    pair_table(told)       a line a kind, and how much of it came from the comparison
    modelled_chill(tables) chilled regions on mode lists with modelled errors, three earlier scans

The earlier scans were made before the flaw (a chilled region, too, is treated as if it had come since, which in iron it does not), with other pads, warmth, hits and nuisances, by the same sensor in the same place. Their state is told as
stripped, the sensor as it was, no fittings: what a careful rebuilder would write down.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bench.compare_scans import PICKUP, Setting, draw_state, model_scan
from bench.detection_scans import Plate, luck_of
from bench.detection_store import SETTINGS, Row, before
from bench.pod import interval
from tapscan.demo.plates import Table, draw_iron, plate_modes
from tapscan.records import Comparison, Indication, Scan, ScanConditions, ScanForComparison
from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.disposition import dispose
from tapscan.screening.rules import run_rules
from tapscan.screening.tone_origins import with_origins
from tapscan.sensors import Sensor

MODEL_CASTINGS = 60
MODEL_SEED = 50000


@dataclass(frozen=True)
class Told:
    """One later scan beside its baseline."""

    kind: str
    pattern: str
    contact: bool
    relevant: bool  # the disposition
    compared: bool  # the comparison said something relevant
    alone: bool  # a rule of its own said something relevant that the baseline had not


def named(scan: Scan, number: int, setting: Setting, indications: Sequence[Indication] = ()) -> ScanForComparison:
    """A scan as the comparison takes it."""
    sensor = Sensor("contact" if setting.room_m is None else "microphone")
    conditions = ScanConditions(state="stripped", sensor=sensor, supports="pads", fittings=())
    return ScanForComparison(f"S{number}", f"2026-01-{number:02d}", conditions, scan, tuple(indications))


def pairs(plates: Sequence[Plate], rows: Mapping[str, Row], earlier: int) -> list[Told]:
    """In the plates' order."""
    out = []
    for plate in plates:
        later, base = rows.get(plate.name), [rows.get(p.name) for p in before(plate)[:earlier]]
        if later is not None and None not in base:
            out.append(_told(later, [b for b in base if b is not None], luck_of(plate)[1].setting))
    return out


def _told(later: Row, earlier: Sequence[Row], setting: Setting) -> Told:
    scans = [with_origins(row.scan, SETTINGS) for row in (*earlier, later)]
    # without the map: where on the plate is bench/location.py's affair, and these maps have no edge to make a model of
    *base, two = (named(replace(s, map=None), n, setting, run_rules(s, SETTINGS)[0]) for n, s in enumerate(scans, 1))
    found = compare_scans(two, base, SETTINGS)
    indications = (*found.indications, *found.carried)
    outcome = dispose(two.scan, indications, (), SETTINGS)
    alone = any(i.interpretation == "relevant" and i.status == "new" for i in found.carried)
    compared = any(i.interpretation == "relevant" for i in found.indications)
    contact = setting.room_m is None
    return Told(later.kind, later.pattern, contact, outcome.disposition == "relevant indication", compared, alone)


def pair_table(told: Sequence[Told]) -> list[str]:
    """Every kind over all sensors, then by sensor."""
    lines = []
    if not told:
        return ["  not run"]
    for words, part in (
        ("all sensors", told),
        ("contact pickup", [t for t in told if t.contact]),
        ("microphone at 0.1 m", [t for t in told if not t.contact]),
    ):
        if part:
            lines.append(f" {words}")
        for kind in sorted({t.kind for t in part}, key=lambda k: (k != "sound", k)):
            here = [t for t in part if t.kind == kind]
            lines.append(
                f"  {kind:44s} relevant    {interval(sum(t.relevant for t in here), len(here))}"
                f"   by the comparison {sum(t.compared for t in here)}, by a rule of its own and new {sum(t.alone for t in here)}"
            )
    return lines


def modelled_chill(tables: Mapping[str, Table]) -> list[str]:
    """As if the region had come between the scans, which in iron it does not: what the comparison can see of it; and without it."""
    lines = []
    for scatter in (0.10, 0.20):
        for words, chilled in (("without it", False), ("as if it had come since", True)):
            told = [_chill(t, scatter, n, chilled) for t in tables.values() for n in range(MODEL_CASTINGS)]
            hits = sum(any(i.interpretation == "relevant" for i in c.indications) for c in told)
            lines.append(
                f"  chilled region, {words:24s} losses scatter {100 * scatter:.0f} %  relevant  {interval(hits, len(told))}"
            )
    return lines


def _chill(pattern: Table, scatter: float, number: int, chilled: bool) -> Comparison:
    seed = MODEL_SEED + number
    iron = draw_iron(pattern, np.random.default_rng([77, seed]), loss_scatter=scatter)
    rng = np.random.default_rng([seed, 9])
    labels = [x for x in pattern.labels if x.startswith("chilled")]
    scans = [
        model_scan(
            plate_modes(pattern, label, iron, draw_state(rng)), PICKUP, rng, SETTINGS, len(pattern.station_names)
        )
        for label in ("sound", "sound", "sound", labels[number % len(labels)] if chilled else "sound")
    ]
    *base, later = (named(s, n, PICKUP) for n, s in enumerate(scans, 1))
    return compare_scans(later, base, SETTINGS)
