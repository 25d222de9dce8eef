"""Detection against size in a single scan: a chilled end by its share of the plate, a breathing crack by its depth.

    python -m bench.single_curves WORK --tables FOLDER --ends FOLDER [--minutes N] [--cores N] [--rates old]

``--ends`` : tables of ``python -m bench.plates cache FOLDER --places 14 --sizes ends --stations 36 --seed 2`` (the three patterns that are not the setting ones). Chilled ends rest on mode
lists with modelled errors, at the first twenty places and at all 36; bench/detection.py has the same rule through the sound at one size. WORK and ``--tables`` are those of
bench/detection.py: its breathing cracks of half a strut's depth at 36 places are tried at a quarter and a tenth as well, through the sound. Writes bench/results/single_curves.txt, docs/figures/single-curves.svg and the
table in docs/rules.md. Statistics as in bench/size_curves.py. Simulated; no iron was measured.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from zlib import crc32

import numpy as np
from matplotlib import rc_context
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from msgspec.structs import replace
from threadpoolctl import threadpool_limits

from bench.compare_scans import PICKUP, draw_state, model_scan
from bench.detection_counts import said
from bench.detection_scans import USUAL_PLACES, Plate
from bench.detection_store import SEEDS, SETTINGS, first_visits, layout_of, make, read, tables_of
from bench.doc_pages import between
from bench.size_curves import Curve, Trial, curve_of, panel, rows
from bench.study import add_rates, head
from tapscan.demo.plates import Table, draw_iron, plate_modes
from tapscan.screening.mode_origins import with_origins

RESULTS = Path(__file__).parent / "results" / "single_curves.txt"
DOCS = Path(__file__).parents[1] / "docs"
MARKS = "<!-- single sizes -->", "<!-- end of single sizes -->"
CASTINGS = range(4)  # of each end
DEPTHS = (10, 25, 50)  # % of a strut's depth
SCATTERS = (0.10, 0.20)
BREATHING = "breathing"
KINDS = {
    f"chill {places} {100 * scatter:.0f}": (
        f"chilled end, {places} places, scatter {100 * scatter:.0f} %",
        "% of the plate",
    )
    for scatter in SCATTERS
    for places in (USUAL_PLACES, 36)
} | {BREATHING: ("breathing crack, 36 places, all nuisances", "% of a strut's depth")}


def chill_trials(table: Table, scatter: float) -> list[Trial]:
    """Every chilled end on a few castings: whether the rule spoke."""
    places, out = len(table.station_names), []
    for label in (x for x in table.labels if x.startswith("chilled end")):
        end, share = label.removeprefix("chilled ").removesuffix(" %").split(", ")
        place = f"{table.name}, {end}"
        for luck in CASTINGS:
            seed = crc32(f"{place}, {luck}".encode())
            iron = draw_iron(table, np.random.default_rng([77, seed]), loss_scatter=scatter)
            rng = np.random.default_rng([seed, 9])
            scan = model_scan(plate_modes(table, label, iron, draw_state(rng)), PICKUP, rng, SETTINGS, places)
            found = said(with_origins(replace(scan, map=layout_of(table)), SETTINGS))[0]
            out.append(Trial(f"chill {places} {100 * scatter:.0f}", float(share), place, "long-decay" in found))
    return out


def breathing_plates(tables: Mapping[str, Table], rates: str) -> list[Plate]:
    """Those of bench/detection.py, at each depth."""
    half = [p for p in first_visits(tables, SEEDS, rates) if p.breathing]
    return [replace(p, label=p.label.replace("50 %", f"{depth} %")) for p in half for depth in DEPTHS]


def breathing_trials(plates: Sequence[Plate], work: Path) -> list[Trial]:
    """Whether anything relevant was raised, as far as the scans are finished."""
    scans, out = read(plates, work), []
    for plate in plates:
        if plate.name in scans:
            depth, place = plate.label.removeprefix("depth ").split(" %, ")
            found = said(with_origins(scans[plate.name].scan, SETTINGS))[0]
            out.append(Trial(BREATHING, float(depth), f"{plate.table.name}, {place}", bool(found)))
    return out


def report(curves: Sequence[Curve]) -> str:
    """All as text."""
    lines = [
        head(),
        "SIMULATED. Single scans; castings that set no limit; 95 % intervals. Chilled ends: mode lists with modelled errors, losses scattered from mode to mode, contact pickup, 50 dB, nothing that rattles.",
        "Breathing cracks: through the sound, with all sensors and nuisances of bench/detection.py, gap within a micrometre either way.",
    ]
    for curve in curves:
        lines += ["", *rows(curve, KINDS)]
    return "\n".join(lines) + "\n"


def draw(curves: Sequence[Curve], path: Path) -> None:
    """A panel a kind."""
    with rc_context({"svg.hashsalt": "singles", "font.size": 8, "svg.fonttype": "none", "font.family": "sans-serif"}):
        figure = Figure(figsize=(9.0, 5.2), layout="constrained")
        axes = figure.subplots(2, 3).ravel()
        for axis, curve in zip(axes, curves, strict=False):
            panel(axis, curve, [], KINDS)
        axes[-1].axis("off")
        axes[-1].text(
            0.0,
            0.9,
            "Share of single scans in which the rule\nspoke, 95 % intervals. Line and band:\nlogit curve, and its 5 to 95 % over\nplaces drawn again. Dotted: 90 %.\n\nSIMULATED: no iron was tapped.",
            va="top",
            transform=axes[-1].transAxes,
        )
        FigureCanvasSVG(figure).print_svg(path, metadata={"Date": None})


def page(text: str, figures: str) -> str:
    """The page with this table in it."""
    return between(text, MARKS, f"```text\n{figures}```")


def main() -> None:
    """Scans for a while, tables, plot, page."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("work", type=Path)
    parser.add_argument("--tables", type=Path, required=True)
    parser.add_argument("--ends", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=20.0)
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1)
    add_rates(parser)
    given = parser.parse_args()
    (_, dense), (few, ends) = tables_of(given.tables), tables_of(given.ends)
    plates = breathing_plates(dense, given.rates)
    make(plates, given.work, time.time() + 60 * given.minutes, given.cores)
    with threadpool_limits(1):
        trials = [
            trial
            for table in [*few.values(), *ends.values()]
            for scatter in SCATTERS
            for trial in chill_trials(table, scatter)
        ]
        trials += breathing_trials(plates, given.work)
    rng = np.random.default_rng(1)
    curves = [curve_of(kind, trials, rng) for kind in KINDS]
    text = report(curves)
    RESULTS.write_text(text, encoding="utf-8")
    draw(curves, DOCS / "figures" / "single-curves.svg")
    document = DOCS / "rules.md"
    document.write_text(page(document.read_text(encoding="utf-8"), text), encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
