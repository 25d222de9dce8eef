"""The tables of single scans as text, for bench/detection.py.

Found                                all that is counted through the sound
shapes_of(tables)                    which chilled regions are ends of the plate, and which are not
report(tables, found, more_places, cores, made_by)   all tables
head(part, made_by)                  what figures were made with
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from bench import study
from bench.compare_scans import PICKUP, draw_state, model_scan
from bench.detection_counts import Judged, kinds_of, said
from bench.detection_scans import USUAL_PLACES
from bench.detection_store import FIRST_SEED, SEEDS, SETTINGS, layout_of
from bench.plates.drawn import draw_screened, likeness_to_end
from bench.plates.patterns import build
from bench.pod import interval
from tapscan.demo.plates import Table, draw_iron, plate_modes
from tapscan.report.error_rates import Table as RateTable
from tapscan.screening.mode_origins import with_origins

PLACES, DRAWN_SEED = 14, 2  # of the tables
ALIKE = 0.6
MODEL_PLATES = 100  # a pattern and kind
MODEL_SEED = 40000
MODELLED = (  # kind, and how its labels begin
    ("sound", "sound"),
    ("closed crack that rubs, half a strut deep", "depth 50 %"),
    ("chilled end", "chilled region"),
    ("chilled patch", "chilled patch"),
)


Regions = Mapping[tuple[str, str], str]  # pattern and label: a row of SHAPES
SHAPES = ("ends", "patches like an end", "other patches")


class Found(Struct, frozen=True):
    """All that is counted through the sound."""

    regions: Regions
    first: list[Judged]  # single scans as they come
    ended: list[Judged]  # the part held where something buzzed
    more: list[Judged]  # at more places, as they come
    more_ended: list[Judged]


def table(rows: Sequence[Judged]) -> list[str]:
    """One line a kind for the whole, one for each rule that raised anything."""
    lines = []
    for kind in kinds_of(rows):
        told = [r for r in rows if r.kind == kind]
        lines.append(f"  {kind:44s} relevant    {interval(sum(bool(r.relevant) for r in told), len(told))}")
        relevant, other = Counter(n for r in told for n in r.relevant), Counter(n for r in told for n in r.other)
        lines += [f"      {n:40s} relevant    {interval(k, len(told))}" for n, k in sorted(relevant.items())]
        lines += [f"      {n:40s} nonrelevant {interval(k, len(told))}" for n, k in sorted(other.items())]
    return lines


def asides(rows: Sequence[Judged]) -> list[str]:
    """What is off by default, and what looks for strings, on the same scans."""
    lines = []
    for kind in kinds_of(rows):
        told = [r for r in rows if r.kind == kind]
        hits = sum(r.rings_alone for r in told)
        lines.append(f"  {kind:44s} local ringing, if switched on   {interval(hits, len(told))}")
        if kind == "sound":
            hits = sum(r.string for r in told)
            lines.append(f"  {kind:44s} taken for strung: a string       {interval(hits, len(told))}")
    return lines


def rattling(rows: Sequence[Judged]) -> str:
    """Among sound plates with a rattling screw."""
    told = [r for r in rows if r.kind == "sound" and r.rattles]
    if not told:
        return "  sound plates with a rattling screw: none yet"
    return (
        f"  of {len(told)} sound plates with a rattling screw: buzz heard (repeat the test) {sum('buzz' in r.other for r in told)}, "
        f"relevant {sum(bool(r.relevant) for r in told)}"
    )


def by_pattern(rows: Sequence[Judged]) -> list[str]:
    """Something relevant, a kind a line: no pattern hides behind the mean."""
    lines = []
    for kind in kinds_of(rows):
        counts = []
        for pattern in sorted({r.pattern for r in rows if r.kind == kind}):
            told = [bool(r.relevant) for r in rows if r.kind == kind and r.pattern == pattern]
            counts.append(f"{pattern} {sum(told)} of {len(told)}")
        lines.append(f"  {kind:44s} {'; '.join(counts)}")
    return lines


def head(part: RateTable, made_by: str) -> list[str]:
    """Which version judged the scans, and which one made them."""
    return [
        study.head(f"{FIRST_SEED} to {FIRST_SEED + SEEDS - 1}", part),
        f"sound made and taken apart by: {made_by}",
        f"all {USUAL_PLACES} places of the simulated layout unless said otherwise, one soft and one hard tap each; 95 % Clopper-Pearson; SIMULATED",
    ]


def shapes_of(tables: Mapping[str, Table]) -> dict[tuple[str, str], str]:
    """Of every chilled region of these tables, drawn once more; ValueError where they were not drawn with PLACES and DRAWN_SEED."""
    out = {}
    for name, table in tables.items():
        pattern = draw_screened(build(name), PLACES, DRAWN_SEED)
        shares = {c["label"]: c["area_share"] for c in table.meta["cases"] if c["kind"] == "chill"}
        for region, area in pattern.chill_regions.items():
            label = f"chilled {region}"
            share = pattern.metal().intersection(area).area / pattern.metal().area
            if abs(shares.get(label, 0.0) - share) > 0.001:
                raise ValueError(f"{name}: {label} is not the one that was drawn")
            like = region.startswith("patch") and likeness_to_end(pattern, area) >= ALIKE
            out[name, label] = SHAPES[0] if region.startswith("region") else SHAPES[1 if like else 2]
    return out


def by_shape(rows: Sequence[Judged], regions: Regions) -> list[str]:
    """Something relevant: ends of the plate, as the rule for areas tries them, and patches."""
    lines = []
    for kind in (k for k in kinds_of(rows) if k.startswith("chilled")):
        counts = []
        for shape in SHAPES:
            told = [bool(r.relevant) for r in rows if r.kind == kind and regions[r.pattern, r.label] == shape]
            counts.append(f"{shape} {sum(told)} of {len(told)}")
        lines.append(f"  {kind:44s} {'; '.join(counts)}")
    return lines


def modelled(tables: dict[str, Table], cores: int) -> list[str]:
    """Decay rules on mode lists with modelled errors."""
    kinds = [(scatter, kind, start) for scatter in (0.10, 0.17, 0.20) for kind, start in MODELLED]
    units = [(t, start, s, n) for s, _, start in kinds for t in tables.values() for n in range(MODEL_PLATES)]
    told = [rules for _, rules in study.finished(units, _model, float("inf"), cores)]
    many, lines = len(tables) * MODEL_PLATES, []
    for row, (scatter, kind, _) in enumerate(kinds):
        for rule in ("long-decay", "dead-place"):
            hits = sum(rule in r for r in told[row * many : (row + 1) * many])
            lines.append(f"  {kind:44s} losses scatter {100 * scatter:.0f} %  {rule:12s} {interval(hits, many)}")
    return lines


def _model(unit: tuple[Table, str, float, int]) -> frozenset[str]:
    """Rules that find something relevant."""
    pattern, start, scatter, number = unit
    rng = np.random.default_rng([MODEL_SEED + number, 9])
    iron = draw_iron(pattern, np.random.default_rng([77, MODEL_SEED + number]), loss_scatter=scatter)
    labels = [x for x in pattern.labels if x.startswith(start)]
    label = labels[number % len(labels)]
    rubs = start.startswith("depth")
    state = draw_state(rng, **({"rubbing": label} if rubs else {}))
    plate = plate_modes(pattern, "sound" if rubs else label, iron, state)
    scan = model_scan(plate, PICKUP, rng, SETTINGS, len(pattern.station_names))
    return said(with_origins(replace(scan, map=layout_of(pattern)), SETTINGS))[0]


def report(tables: dict[str, Table], found: Found, more_places: int, cores: int, made_by: str) -> str:
    """All tables as text; `tables` with the usual places, `made_by` the head of the version that made the scans."""
    return "\n".join(
        [
            *head("single", made_by),
            *["", "Single scans through the sound, three patterns, castings that set no limit", *table(found.first)],
            rattling(found.first),
            *["", "The same by pattern, something relevant", *by_pattern(found.first)],
            *["", "Single scans, with the part held and tapped again where something buzzed", *table(found.ended)],
            *[
                "",
                f"The same by shape; patches like an end have {100 * ALIKE:.0f} % of their iron in common with one",
                *by_shape(found.ended, found.regions),
            ],
            *["", f"Single scans at {more_places} places", *table(found.more), rattling(found.more)],
            *["", f"The same at {more_places} places by pattern, something relevant", *by_pattern(found.more)],
            *["", f"At {more_places} places, with the part held where something buzzed", *table(found.more_ended)],
            *["", f"The same at {more_places} places by shape", *by_shape(found.more_ended, found.regions)],
            *["", "Asides, the single scans", *asides(found.first)],
            *["", "Mode lists with modelled errors, the same patterns, other castings", *modelled(tables, cores)],
            "",
        ]
    )
