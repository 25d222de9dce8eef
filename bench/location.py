"""How often the part of a plate that is named first, or among three, is the right one; through the sound, by contact pickup.

    python -m bench.location WORK --tables FOLDER --minutes N     scans of plates of known flaws (kept in WORK), then the table
    python -m bench.location WORK --tables FOLDER --patterns limits --luck WORDS    the same of the two patterns that limits were chosen on
    python -m bench.location WORK --tables FOLDER --write              and into tapscan/report/reach.json, results/location.txt

Each casting has three baseline scans and one scan a flaw, each with pads moved, another temperature, hits scattered by 6 mm: drops are as estimated
from sound. The plate comes from bench/plates (its own mesh and elements' size, every casting with its own thickness); the drawing that the
rough model is made from is wrong by 10 or 20 % in thickness, widths, proportions and bays, and its places lie 15 mm off (rms). With fewer
places the amplitudes of the others are left out, the frequencies stay. Simulated; no iron was tapped.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator, Sequence
from functools import cache, partial
from pathlib import Path

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from bench import study
from bench.compare_scans import PICKUP, draw_state, sound_scan
from bench.location_drawn import drawn_layout, true_part
from bench.location_table import Drawing, Told, percent, reach, table
from bench.location_truth import drawn, make
from bench.plates.pattern import Pattern
from bench.reach_file import write_part
from tapscan.demo.plates import Iron, PlateModes, Table, draw_iron, plate_modes, read_table
from tapscan.model.rough import RoughModel, rough_model
from tapscan.places import Layout
from tapscan.plain_values import plain, revived
from tapscan.records import LikelyPlace, Scan, ScanConditions, Whereabouts
from tapscan.records.places import From
from tapscan.screening.compare.compare_scans import places_of_change
from tapscan.screening.compare.condition_changes import changed_conditions
from tapscan.screening.compare.measure import Measured, measure
from tapscan.screening.location.whereabouts import whereabouts
from tapscan.sensors import Sensor
from tapscan.settings import Settings

STUDY = "location"
LUCK = "location, drawings put right"  # of the table; castings, scans and drawings that no limit was chosen with
LIMITS, COUNTED = ("small-grand", "upright-three-quarter"), ("concert-grand", "parlour-grand", "upright-full")
CASTINGS, BASELINES, PLACES = 4, 3, 20
WEIGHT_KG = 0.3
OTHER_KIND = {"concert-grand": "upright-full", "parlour-grand": "upright-full", "upright-full": "parlour-grand"}
OTHER_KIND |= {"small-grand": "upright-three-quarter", "upright-three-quarter": "small-grand"}
RESULT = Path(__file__).parent / "results" / "location.txt"


ROWS = (
    Drawing("20 places, model 10 % wrong", 0.10, 0.0, 20),
    Drawing("20 places, model 20 % wrong, places 15 mm off", 0.20, 0.015, 20),
    Drawing("12 places, model 10 % wrong", 0.10, 0.0, 12),
    Drawing("12 places, model 20 % wrong, places 15 mm off", 0.20, 0.015, 12),
    Drawing("8 places, model 10 % wrong", 0.10, 0.0, 8),
)


class Unit(Struct, frozen=True):
    """One scan to be made: of a casting's baseline (`flaw` empty), or with a flaw."""

    folder: str
    pattern: str
    casting: int
    flaw: str = ""
    number: int = 0
    luck: str = LUCK

    @property
    def name(self) -> str:
        return f"{self.pattern} {self.casting} {self.flaw or 'baseline'} {self.number}"


@cache
def table_of(folder: str, pattern: str) -> Table:
    return read_table(Path(folder) / f"{pattern}.npz")


def casting_of(unit: Unit) -> Iron:
    """Every scan of a casting has the same iron."""
    seed = study.seed_of(unit.luck, f"iron {unit.pattern} {unit.casting}")
    return draw_iron(table_of(unit.folder, unit.pattern), np.random.default_rng(seed))


def flaws_of(table: Table) -> list[str]:
    """Cracks, closed cracks that rub ("rubbing ..."), and weights ("weight at 2"), in turn over the castings."""
    cracks = [c["label"] for c in table.meta["cases"][1:] if c["kind"] != "chill"]
    rubbing = [f"rubbing {c['label']}" for c in table.meta["cases"] if c["kind"] == "depth"]
    return cracks + rubbing + [f"weight at {i}" for i in range(len(table.meta["clamps"]))]


def plate_of(unit: Unit, rng: np.random.Generator) -> PlateModes:
    table, iron = table_of(unit.folder, unit.pattern), casting_of(unit)
    if unit.flaw.startswith("rubbing "):
        return plate_modes(table, "sound", iron, draw_state(rng, rubbing=unit.flaw.removeprefix("rubbing ")))
    if unit.flaw.startswith("weight at "):
        return plate_modes(table, "sound", iron, draw_state(rng, masses_kg=((int(unit.flaw[10:]), WEIGHT_KG),)))
    return plate_modes(table, unit.flaw or "sound", iron, draw_state(rng))


def job(unit: Unit) -> object:
    """A whole scan through the sound."""
    rng = np.random.default_rng(study.seed_of(unit.luck, unit.name))
    plate = plate_of(unit, rng)
    return plain(sound_scan(plate, PICKUP, rng, Settings(), names=plate.table.station_names[:PLACES]))


def units_of(folder: str, pattern: str, luck: str = LUCK) -> list[Unit]:
    baselines = [Unit(folder, pattern, c, number=n, luck=luck) for c in range(CASTINGS) for n in range(BASELINES)]
    flawed = [
        Unit(folder, pattern, k % CASTINGS, f, luck=luck) for k, f in enumerate(flaws_of(table_of(folder, pattern)))
    ]
    return baselines + flawed


def path_of(work: Path, unit: Unit) -> Path:
    words = unit.name.replace(" ", "-").replace(",", "").replace("%", "")
    return work / f"{words}.json.gz"


class Case(Struct, frozen=True):
    """One flaw as the comparison measured it."""

    unit: Unit
    measured: Measured
    reference: Scan


def cases_of(work: Path, folder: str, pattern: str, luck: str = LUCK) -> Iterator[Case]:
    """Those whose scans are all made."""
    units = units_of(folder, pattern, luck)
    conditions = ScanConditions(sensor=Sensor("contact"))
    unlike = changed_conditions(conditions, [conditions], PLACES, Settings())
    unlike = replace(unlike, refused=None, frequency_refused=None, loss_refused=None, support_factor=1.0, extra_ppm=0.0)
    before = {c: [_read(work, u) for u in units if not u.flaw and u.casting == c] for c in range(CASTINGS)}
    for unit in units:
        later, baselines = _read(work, unit) if unit.flaw else None, before[unit.casting]
        if later is None or None in baselines:
            continue
        measured = measure(later, [b for b in baselines if b], True, unlike, Settings())
        yield Case(unit, measured, baselines[measured.baseline.reference])  # type: ignore[arg-type]


def _read(work: Path, unit: Unit) -> Scan | None:
    found = study.read(path_of(work, unit))
    return revived(Scan, found) if found is not None else None


def layout_for(case: Case, row: Drawing) -> tuple[Layout, RoughModel]:
    """The same drawing for all flaws of a casting."""
    seed = study.seed_of(case.unit.luck, f"drawing {case.unit.pattern} {case.unit.casting} {row.error} {row.places_m}")
    table = table_of(case.unit.folder, case.unit.pattern)
    spots = [(s["name"], s["x_m"], s["y_m"]) for s in table.meta["stations"]]
    layout = drawn_layout(pattern_drawn(case.unit.pattern), spots, row.error, row.places_m, np.random.default_rng(seed))
    return layout, rough_model(layout.outline, Path(case.unit.folder) / "models")  # type: ignore[arg-type]


@cache
def pattern_drawn(pattern: str) -> Pattern:
    """Of that name, drawn once."""
    return drawn(pattern)


def with_places(scan: Scan, layout: Layout, count: int) -> Scan:
    """The layout on it, and only `count` of its stations, spread over its order."""
    names = list(dict.fromkeys(s.station for s in scan.strikes))
    kept = {names[round(i)] for i in np.linspace(0, len(names) - 1, count)}
    modes = tuple(replace(m, amplitudes=tuple(a for a in m.amplitudes if a.station in kept)) for m in scan.modes)
    return replace(scan, modes=modes, strikes=tuple(s for s in scan.strikes if s.station in kept), map=layout)


def told(case: Case, row: Drawing) -> Told:
    """By the package's own road."""
    layout, model = layout_for(case, row)
    scan, flaw = with_places(case.reference, layout, row.places), case.unit.flaw
    which: From = "losses" if flaw.startswith("rubbing") else "weight" if flaw.startswith("weight") else "drops"
    change = case.measured.loss if which == "losses" else case.measured.frequency
    called = change.statistic is not None and change.statistic > change.limit
    found = whereabouts(case.measured, scan, which, Settings())
    parts = len({c.part for c in model.cuts})
    if which == "weight":
        return Told("weight", called, None, _first(found), parts, found.reason, 99, away_m=_away(case, found))
    line = next(x for x in pattern_drawn(case.unit.pattern).lines if flaw.endswith(f", {x.name}"))
    part = true_part(pattern_drawn(case.unit.pattern), line, model)
    names = [p.member for p in found.places]
    rank = names.index(part) if part in names else None
    kind = f"rubbing {line.kind}" if which == "losses" else line.kind
    today = _today(case, layout, model, part, {s.station for s in scan.strikes})
    return Told(kind, called, rank, _first(found), parts, found.reason, today, _right(found, part, parts))


def _first(found: Whereabouts) -> float:
    return found.places[0].share if found.places else 0.0


def _right(found: Whereabouts, part: str, parts: int) -> float:
    """Share of the right part; those not listed hold what is left, evenly."""
    left = (1 - sum(p.share for p in found.places)) / max(parts - len(found.places), 1)
    return next((p.share for p in found.places if p.member == part), left)


def _away(case: Case, found: Whereabouts) -> float:
    if not found.places:
        return np.nan
    wide, high = pattern_drawn(case.unit.pattern).outline.bounds[2:]
    clamp = table_of(case.unit.folder, case.unit.pattern).meta["clamps"][int(case.unit.flaw[10:])]
    place: LikelyPlace = found.places[0]
    return float(np.hypot(place.x * wide - clamp["x_m"], (1 - place.y) * high - clamp["y_m"]))


def _today(case: Case, layout: Layout, model: RoughModel, part: str, kept: set[str]) -> int:
    """Rank of the part by the ranking of stations before: each station stands for the nearest part."""
    change = case.measured.loss if case.unit.flaw.startswith("rubbing") else case.measured.frequency
    ranked = [w.station for w in places_of_change(case.measured, change) if w.station in kept]
    order = nearest_parts(ranked, layout, model)
    return order.index(part) if part in order else 99


def nearest_parts(stations: Sequence[str], layout: Layout, model: RoughModel) -> list[str]:
    """Each station stands for the part nearest to it; each part once."""
    at = {s.name: np.array([s.x, s.y]) * model.size_m for s in layout.stations}
    middles = np.array([(np.array(c.start_m) + c.end_m) / 2 for c in model.cuts])
    return list(dict.fromkeys(model.cuts[int(np.argmin(np.hypot(*(middles - at[s]).T)))].part for s in stations))


def wrong_kinds(cases: Sequence[Case]) -> list[str]:
    """Layouts of another kind of plate, and the right one, at 20 and 12 places."""
    lines = []
    for places in (20, 12):
        row = Drawing("", 0.10, 0.0, places)
        refused = {"right": [0, 0], "another kind": [0, 0]}
        for case in cases[::12]:
            other = OTHER_KIND[case.unit.pattern]
            theirs = layout_for(replace(case, unit=replace(case.unit, pattern=other)), row)[0]
            mine = layout_for(case, row)[0]
            for words, outline in (("right", mine.outline), ("another kind", theirs.outline)):
                scan = with_places(case.reference, replace(mine, outline=outline), places)
                found = whereabouts(case.measured, scan, "drops", Settings())
                refused[words][0] += found.fit is not None and not found.places
                refused[words][1] += 1
        lines.append(
            f"{places} places, refused as not fitting: "
            + "; ".join(f"drawing of the {k} plate {percent(*v)}" for k, v in refused.items())
        )
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("work", type=Path)
    parser.add_argument("--tables", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--patterns", choices=("counted", "limits"), default="counted")
    parser.add_argument("--pattern", action="append", help="only these of them")
    parser.add_argument("--only-scans", action="store_true")
    parser.add_argument(
        "--luck", default=LUCK, help="other words, other castings, scans and drawings; a WORK of its own for each"
    )
    parser.add_argument("--cores", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    patterns = [p for p in (COUNTED if given.patterns == "counted" else LIMITS) if p in (given.pattern or [p])]
    make(given.tables, patterns)
    given.work.mkdir(parents=True, exist_ok=True)
    units = [u for p in patterns for u in units_of(str(given.tables), p, given.luck)]
    study.make(units, job, partial(path_of, given.work), time.time() + 60 * given.minutes, given.cores)
    if given.only_scans:
        return
    cases = [c for p in patterns for c in cases_of(given.work, str(given.tables), p, given.luck)]
    rows = {row: [told(c, row) for c in cases] for row in ROWS}
    lines = [
        study.head(given.luck, "location"),
        f"{len(cases)} flaws on {', '.join(patterns)}",
        *table(rows),
        *wrong_kinds(cases),
    ]
    print("\n".join(lines))
    if given.write:
        RESULT.write_text("\n".join(lines) + "\n", encoding="utf-8")
        write_part("location", reach(rows[ROWS[1]], rows[ROWS[3]]))


if __name__ == "__main__":
    main()
