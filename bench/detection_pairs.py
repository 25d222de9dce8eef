"""What the disposition says with a baseline: each finished scan beside earlier ones of the same casting.

    pairs(plates, work, cores)     Told by the number of earlier scans, for every plate whose scan and whose so many earlier ones are finished
    pair_table(told)       a line a kind, and how much of it came from the comparison
    modelled_chill(tables, cores)  chilled regions on mode lists with modelled errors, three earlier scans

The earlier scans were made before the flaw (a chilled region, too, is treated as if it had come since, which in iron it does not), with other pads, warmth, hits and nuisances, by the same sensor in the same place. Their state is told as
stripped, the sensor as it was, no fittings: what a careful rebuilder would write down.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from itertools import takewhile
from pathlib import Path

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from bench import study
from bench.compare_scans import PICKUP, Setting, draw_state, model_scan
from bench.detection_scans import Plate, luck_of
from bench.detection_store import EARLIER, SETTINGS, Row, before, read
from bench.pod import interval
from tapscan.demo.plates import Table, draw_iron, plate_modes
from tapscan.records import Indication, Scan, ScanConditions, ScanForComparison
from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.disposition import dispose
from tapscan.screening.mode_origins import with_origins
from tapscan.screening.rules import run_rules
from tapscan.sensors import Sensor

MODEL_CASTINGS = 60
MODEL_SEED = 50000


class Told(Struct, frozen=True):
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


def pairs(plates: Sequence[Plate], work: Path, cores: int) -> dict[int, list[Told]]:
    """Beside one and all of the earlier scans, in the plates' order; a plate is that of the scan that counts."""
    castings: dict[str, list[Plate]] = {}
    for plate in plates:
        castings.setdefault(before(plate)[0].name, []).append(plate)
    found = study.finished(list(castings.values()), partial(_casting, work=work), float("inf"), cores)
    told = {name: one for _, here in found for name, one in here.items()}
    return {n: [told[p.name][n] for p in plates if n in told[p.name]] for n in (1, EARLIER)}


class _Screened(Struct, frozen=True, eq=False):
    """A finished scan with where its tones come from, and what its own rules say."""

    row: Row
    scan: Scan
    said: Sequence[Indication]


def _screened(row: Row) -> _Screened:
    scan = with_origins(row.scan, SETTINGS)
    return _Screened(row, scan, run_rules(scan, SETTINGS)[0])


def _casting(plates: Sequence[Plate], work: Path) -> dict[str, dict[int, Told]]:
    """By the plate's name and the number of earlier scans. The plates are one casting: its earlier scans are theirs."""
    earlier = before(plates[0])
    rows = read(earlier, work)
    base = [_screened(rows[p.name]) for p in takewhile(lambda p: p.name in rows, earlier)]
    out: dict[str, dict[int, Told]] = {}
    for plate in plates:
        later, setting = read([plate], work).get(plate.name), luck_of(plate)[1].setting
        numbers = [n for n in (1, EARLIER) if later is not None and n <= len(base)]
        out[plate.name] = {n: _told(_screened(later), base[:n], setting) for n in numbers if later is not None}
    return out


def _told(later: _Screened, earlier: Sequence[_Screened], setting: Setting) -> Told:
    # without the map: where on the plate is bench/location.py's affair, and these maps have no edge to make a model of
    *base, two = (named(replace(s.scan, map=None), n, setting, s.said) for n, s in enumerate((*earlier, later), 1))
    found = compare_scans(two, base, SETTINGS)
    indications = (*found.indications, *found.carried)
    outcome = dispose(two.scan, indications, (), SETTINGS)
    alone = any(i.interpretation == "relevant" and i.status == "new" for i in found.carried)
    compared = any(i.interpretation == "relevant" for i in found.indications)
    relevant = outcome.disposition == "relevant indication"
    return Told(later.row.kind, later.row.pattern, setting.room_m is None, relevant, compared, alone)


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


def modelled_chill(tables: Mapping[str, Table], cores: int) -> list[str]:
    """As if the region had come between the scans, which in iron it does not: what the comparison can see of it; and without it."""
    kinds = [(s, chilled) for s in (0.10, 0.20) for chilled in (False, True)]
    units = [(t, *kind, n) for kind in kinds for t in tables.values() for n in range(MODEL_CASTINGS)]
    told = [hit for _, hit in study.finished(units, _chill, float("inf"), cores)]
    many, lines = len(tables) * MODEL_CASTINGS, []
    for row, (scatter, chilled) in enumerate(kinds):
        words, hits = "as if it had come since" if chilled else "without it", sum(told[row * many : (row + 1) * many])
        lines.append(
            f"  chilled region, {words:24s} losses scatter {100 * scatter:.0f} %  relevant  {interval(hits, many)}"
        )
    return lines


def _chill(unit: tuple[Table, float, bool, int]) -> bool:
    """Whether the comparison says something relevant."""
    pattern, scatter, chilled, number = unit
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
    return any(i.interpretation == "relevant" for i in compare_scans(later, base, SETTINGS).indications)
