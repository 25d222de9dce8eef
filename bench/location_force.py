"""Where faces lie that touch under hard taps: by the map of the comparison, and by the places where the moved tones are strongest.

    python -m bench.location_force WORK --tables FOLDER --minutes N     scans of breathing cracks (kept in WORK), then the table
    python -m bench.location_force WORK --tables FOLDER --write          and into results/location_force.txt

Struts cut a quarter or half through on the patterns that no limit of the map was chosen with, faces from pressed to a micrometre apart, one soft and one hard tap
at each of 20 places, contact pickup, through the sound. The tables are those of bench.location. A single scan: no earlier one. Where the force rule speaks, the shift of each tone
with force (what all share taken out) is given to the map as if it were a drop. Simulated; no iron was tapped.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from functools import partial
from pathlib import Path

import numpy as np
from msgspec import Struct

from bench import study
from bench.compare_scans import PICKUP, RATE_HZ, draw_state
from bench.detection_scans import BREATHING_REACH_M, SECONDS, Circumstances, noisy, scan_of_taps, strikes_of
from bench.location import (
    COUNTED,
    PLACES,
    ROWS,
    Case,
    Unit,
    layout_for,
    nearest_parts,
    path_of,
    pattern_drawn,
    table_of,
    with_places,
)
from bench.location_drawn import true_part
from bench.location_table import calibration, percent
from bench.simulate.breathing import Breathing, breathing_taps
from tapscan.demo.plates import draw_iron, plate_modes
from tapscan.demo.taps import Damping, scale_to
from tapscan.model.rough import RoughModel
from tapscan.places import Layout
from tapscan.plain_values import plain, revived
from tapscan.records import Scan
from tapscan.screening.location.whereabouts import located
from tapscan.screening.mode_origins import with_origins
from tapscan.screening.rules import force_dependence
from tapscan.settings import Settings

LUCK = "location by force"
CASTINGS = 3
RESULT = Path(__file__).parent / "results" / "location_force.txt"
HARDER = 1  # of the drawings, its number in ROWS


class Found(Struct, frozen=True):
    """Ranks of the cracked strut, 0 is first; None where nothing is named."""

    spoke: bool
    by_map: int | None
    by_strength: int | None
    share: float
    parts: int
    reason: str | None = None


def units_of(folder: str, pattern: str) -> list[Unit]:
    labels = [c["label"] for c in table_of(folder, pattern).meta["cases"] if c["kind"] == "depth"]
    return [Unit(folder, pattern, c, label, luck=LUCK) for label in labels for c in range(CASTINGS)]


def job(unit: Unit) -> object:
    """A whole scan through the sound; every scan has its own casting."""
    table, rng = table_of(unit.folder, unit.pattern), np.random.default_rng(study.seed_of(unit.luck, unit.name))
    modes = plate_modes(table, unit.flaw, draw_iron(table, rng), draw_state(rng))
    strikes = strikes_of(modes, rng, table.station_names[:PLACES])
    gap = Breathing(float(rng.uniform(-BREATHING_REACH_M, BREATHING_REACH_M)))
    taps = breathing_taps(modes, gap, strikes, PICKUP.sensor, RATE_HZ, SECONDS)
    quiet = Circumstances(draw_state(rng), PICKUP, 0, 0.0, 0.0, 0.0, -1, 0.0, Damping())
    return plain(scan_of_taps(scale_to(noisy(taps, quiet, rng), 0.5), Settings()))


def found(unit: Unit, scan: Scan, number: int) -> Found:
    """By row `number` of bench.location."""
    settings = Settings()
    scan = with_origins(scan, settings)
    layout, model = layout_for(Case(unit, None, scan), ROWS[number])  # type: ignore[arg-type]
    outcome = force_dependence.run(scan, settings)
    parts = len({c.part for c in model.cuts})
    if not isinstance(outcome, list) or not outcome:
        return Found(False, None, None, 0.0, parts)
    line = next(x for x in pattern_drawn(unit.pattern).lines if unit.flaw.endswith(f", {x.name}"))
    part = true_part(pattern_drawn(unit.pattern), line, model)
    _, shifts = force_dependence.plainest(scan, settings)
    change, _ = force_dependence.scores(shifts, settings)
    there = located(
        np.abs(change) * 1e-6, [s.mode for s in shifts], with_places(scan, layout, PLACES), "force", settings
    )
    names = [p.member for p in there.places]
    by_map = names.index(part) if part in names else None
    share = there.places[0].share if there.places else 0.0
    return Found(True, by_map, _by_strength(outcome[0].stations, layout, model, part), share, parts, there.reason)


def _by_strength(stations: Sequence[str], layout: Layout, model: RoughModel, part: str) -> int | None:
    order = nearest_parts(stations, layout, model)
    return order.index(part) if part in order else None


def table(words: str, every: Sequence[Found]) -> list[str]:
    """Rates of those on which the rule spoke."""
    spoke = [f for f in every if f.spoke]
    said = [f for f in spoke if not f.reason]
    lines = [
        f"{words}: the rule speaks {percent(len(spoke), len(every))}; the map cannot tell: {len(spoke) - len(said)}"
    ]
    for name, ranks in (("map", [f.by_map for f in said]), ("strongest places", [f.by_strength for f in said])):
        first, three = sum(r == 0 for r in ranks), sum(r is not None and r < 3 for r in ranks)
        lines.append(f"    by the {name}: first {percent(first, len(said))}, three {percent(three, len(said))}")
    if said:
        lines.append(
            f"    by chance {100 * np.mean([1 / f.parts for f in said]):.0f}, {100 * np.mean([3 / f.parts for f in said]):.0f} %"
        )
    return [*lines, *calibration([(f.share, f.by_map == 0) for f in said], (0, 0.5, 0.7, 1))]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("work", type=Path)
    parser.add_argument("--tables", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--cores", type=int, default=1)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    given.work.mkdir(parents=True, exist_ok=True)
    units = [u for p in COUNTED for u in units_of(str(given.tables), p)]
    study.make(units, job, partial(path_of, given.work), time.time() + 60 * given.minutes, given.cores)
    kept = [(u, study.read(path_of(given.work, u))) for u in units]
    scans = [(u, revived(Scan, s)) for u, s in kept if s is not None]
    lines = [
        study.head(LUCK, "location"),
        f"{len(scans)} struts cut a quarter or half through whose faces touch, on {', '.join(COUNTED)}; one scan each",
    ]
    lines += table(ROWS[HARDER].words, [found(u, s, HARDER) for u, s in scans])
    print("\n".join(lines))
    if given.write:
        RESULT.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
