"""What the page shows of the plate's map: a small one first, a large one below, and where single modes are strong.

map_section(screening)   what the templates first.html and map.html name; None without a layout
mode_map(...)            where one mode is strong
"""

from typing import Any

from markupsafe import Markup
from msgspec import Struct

from tapscan import wording
from tapscan.places import Layout
from tapscan.records import Mode, Scan, Screening
from tapscan.report import words
from tapscan.report.drawing.plate_map import SMALL, amplitude_map, legend, marks, station_map
from tapscan.report.section import Section, Sheet


class MapSection(Struct, frozen=True):
    """Drawings with their legends and what has to be said beside them."""

    small: Markup
    large: Markup
    legend: list[tuple[Markup, str]]
    notes: list[str]


def map_section(screening: Screening) -> MapSection | None:
    """None where there is no layout: no map, and no empty box."""
    layout = screening.scan.map
    if layout is None:
        return None
    found = marks(screening)
    return MapSection(
        small=station_map(layout, found, "map-small", SMALL),
        large=station_map(layout, found, "map-large"),
        legend=legend(layout, found),
        notes=_notes(screening, layout),
    )


def _notes(screening: Screening, layout: Layout) -> list[str]:
    notes = []
    if layout.outline is None:
        notes.append(f"The layout {layout.name} gives no outline, so only the places are shown, within a broken frame.")
    else:
        notes.append("The outline is a schematic of this kind of plate, not a drawing of this one.")
    strangers = sorted({s.station for s in screening.scan.strikes} - {s.name for s in layout.stations})
    if strangers:
        notes.append(
            f"Not on the map, because the layout does not know them: {wording.listed(strangers, words.MOST_LISTED)}."
        )
    if any(not i.stations for i in screening.indications):
        notes.append("An indication that concerns the plate as a whole has no mark.")
    return notes


def mode_map(scan: Scan, layout: Layout, mode: Mode, name: str, what: str) -> Markup | None:
    """Where one mode is strong; None where no station of it is on the map. `what` names the mode."""
    tapped = [s.station for s in scan.strikes if s.usable]
    return amplitude_map(layout, mode.amplitudes, tapped, name, what)


def _build(sheet: Sheet) -> dict[str, Any] | None:
    found = map_section(sheet.screening)
    return {"plate": found} if found else None


SECTION = Section("map", "Map of the plate", "map.html", _build, brief=False)
