"""What the page shows of the plate's map: a small one first, a large one and where modes are strong further below.

map_section(screening)   what the templates first.html and map.html name; None without a layout
"""

from dataclasses import dataclass

from markupsafe import Markup

from tapscan.places import Layout
from tapscan.records import Mode, Scan, Screening
from tapscan.report import words
from tapscan.report.plate_map import SMALL, legend, marks, station_map, strength_legend, strength_map

MOST_MODES = 4


@dataclass(frozen=True)
class MapSection:
    """Drawings with their legends and what has to be said beside them."""

    small: Markup
    large: Markup
    legend: list[tuple[Markup, str]]
    notes: list[str]
    modes: list[tuple[Markup, str]]  # drawing and caption
    modes_left_out: int
    sizes: list[tuple[Markup, str]]


def map_section(screening: Screening) -> MapSection | None:
    """None where there is no layout: no map, and no empty box."""
    layout = screening.scan.map
    if layout is None:
        return None
    found = marks(screening)
    drawings, left_out = _modes(screening, layout)
    return MapSection(
        small=station_map(layout, found, "map-small", SMALL),
        large=station_map(layout, found, "map-large"),
        legend=legend(found),
        notes=_notes(screening, layout),
        modes=drawings,
        modes_left_out=left_out,
        sizes=strength_legend() if drawings else [],
    )


def _notes(screening: Screening, layout: Layout) -> list[str]:
    notes = []
    if layout.outline is None:
        notes.append(f"The layout {layout.name} gives no outline, so only the places are shown, within a broken frame.")
    else:
        notes.append("The outline is a schematic of this kind of plate, not a drawing of this one.")
    strangers = sorted({s.station for s in screening.scan.strikes} - {s.name for s in layout.stations})
    if strangers:
        notes.append(f"Not on the map, because the layout does not know them: {words.listed(strangers)}.")
    if any(not i.stations for i in screening.indications):
        notes.append("An indication that concerns the plate as a whole has no mark.")
    return notes


def _modes(screening: Screening, layout: Layout) -> tuple[list[tuple[Markup, str]], int]:
    """A map of each of the first few modes that indications name; how many are left out."""
    scan = screening.scan
    by_id = {m.id: m for m in scan.modes}
    named = [by_id[m] for m in dict.fromkeys(m for i in screening.indications for m in i.modes) if m in by_id]
    drawn = [d for k, m in enumerate(named[:MOST_MODES], 1) if (d := _mode(scan, layout, m, f"map-mode-{k}"))]
    return drawn, max(0, len(named) - MOST_MODES) if drawn else 0


def _mode(scan: Scan, layout: Layout, mode: Mode, name: str) -> tuple[Markup, str] | None:
    tapped = [s.station for s in scan.strikes if s.usable]
    what = f"mode {mode.id}, {words.with_sd(mode.frequency_hz, mode.frequency_sd_hz)} Hz,"
    drawing = strength_map(layout, mode.strengths, tapped, name, what)
    return None if drawing is None else (drawing, f"Where {what} is strong")
