"""The sheet to chalk the stations from and to take along: the map, the places with boxes to tick, checklist, cautions.

render_sheet(layout, state, order, named)   HTML as text: one file, no script, prints to A4 and to Letter
write_sheet(path, ...)                      the same into a file, whole or not at all (OSError)
commands(named, state, order)               what to type then

Stations that may not be struck in `state` stay on the map, barred, so that nobody chalks them from memory; the list names them in one line. The eye comes before the hammer:
what is looked for, and what to do where a line is seen, stands before the stations, and nothing is touched for it.
"""

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from markupsafe import Markup

from tapscan import __version__, wording
from tapscan.layouts.take import BETWEEN_PLACES_S, BETWEEN_TAPS_S
from tapscan.places import CHECKLIST, IN_PIANO, KEYS, REGIONS, STATES, STRUNG, Layout, State, Station
from tapscan.report import words
from tapscan.report.drawing.labels import labels
from tapscan.report.drawing.plate_drawing import Canvas, Kind, apart, element, mark, plate, whole
from tapscan.report.rendering import render
from tapscan.screening.next_steps import EYES_IN_PIANO
from tapscan.targets import write_text

WIDTH = 520.0  # units
RADIUS = 6.0
DIRECTIONS = {"above": "from above", "front": "from the front", "sideways": "sideways", None: "not told"}
MEANING: dict[Kind, str] = {"tap": "tap here", "leave": "leave out: not to be tapped in this state"}
HINTS = {  # beside each item of the eye's list
    "iron-line": "on bare iron a fine dark line; photograph where it ends",
    "rust-line": "rust bleeding from a fine line often marks a crack",
    "cracked-finish": "a hairline that goes on across an edge or a corner",
    "offset-edges": "a step that throws a shadow in light from the side",
    "repair": "a bead, another colour, a row of plugs",
    "missing-screws": "or loose, or of another kind",
    "loose-nose-bolts": "or a nut screwed down so far that it lifts or bends the plate",
    "pitch-not-held": "ask the owner; in a plate out of the piano it cannot be seen",
}


def write_sheet(path: Path, layout: Layout, state: State | None, order: Sequence[str], named: str) -> None:
    """Write the sheet to `path`; an older one stands until the new one is complete."""
    write_text(Path(path), render_sheet(layout, state, order, named))


def render_sheet(layout: Layout, state: State | None, order: Sequence[str], named: str) -> str:
    """`order`: force of each tap at a station; `named`: the layout as the command line knows it."""
    allowed = layout.allowed(state)
    barred = [s.name for s in layout.stations if s not in allowed]
    return render(
        "layout_sheet.html",
        {
            "layout": layout,
            "version": __version__,
            "state": words.STATES[state] if state else None,
            "states": [words.STATES[s] for s in STATES],
            "strung": state in {None, *STRUNG},
            "map": sheet_map(layout, state),
            "legend": _legend(layout, state),
            "rows": [_row(s, state, order) for s in allowed],
            "every": len(layout.stations),
            "order": order,
            "between_taps_s": BETWEEN_TAPS_S,
            "between_places_s": BETWEEN_PLACES_S,
            "taps": wording.counted(len(order), "tap"),
            "allowed": len(allowed),
            "left_out": wording.listed(barred),
            "first": EYES_IN_PIANO.text if state in {None, *IN_PIANO} else "",
            "checklist": [(said, HINTS[item]) for item, said in CHECKLIST.items()],
            "round": list(REGIONS.items()) if state in IN_PIANO else [],
            "KEYS": KEYS,
            "commands": [unbroken(line) for line in commands(named, state, order)],
        },
    )


def sheet_map(layout: Layout, state: State | None) -> Markup:
    """The map with rings to tap and barred squares to leave out."""
    canvas = Canvas(layout, WIDTH)
    parts, spots = plate(canvas, "sheet"), []
    places = apart([canvas.at((s.x, s.y)) for s in layout.stations], [RADIUS] * len(layout.stations))
    for station, at in zip(layout.stations, places, strict=True):
        kind = _kind(station, state)
        hint = element("title", words.legible(f"{station.name}, {station.where}: {MEANING[kind]}"))
        parts.append(element("g", hint, mark(kind, at, RADIUS)))
        spots.append((station.name, at, RADIUS, kind == "tap"))
    tap = [s.name for s in layout.allowed(state)]
    rest = [s.name for s in layout.stations if s.name not in tap]
    said = f"Tap here: {wording.listed(tap, words.MOST_LISTED) or 'nowhere'}." + (
        f" Leave out: {wording.listed(rest, words.MOST_LISTED)}." if rest else ""
    )
    title = f"Map of the plate with {wording.counted(len(spots), 'station')} to chalk"
    return whole(canvas, "sheet", title, said, [*parts, *labels(canvas, spots)])


def _legend(layout: Layout, state: State | None) -> list[tuple[Markup, str]]:
    kinds = {_kind(s, state) for s in layout.stations}
    return [
        (element("svg", mark(k, (10, 10), RADIUS), viewBox="0 0 20 20", width=20, height=20, aria_hidden="true"), said)
        for k, said in MEANING.items()
        if k in kinds
    ]


def _kind(station: Station, state: State | None) -> Kind:
    return "tap" if state is None or state in station.states else "leave"


def _row(station: Station, state: State | None, order: Sequence[str]) -> dict[str, Any]:
    return {
        "name": station.name,
        "where": station.where,
        "trouble": station.trouble,
        "direction": DIRECTIONS[station.direction],
        "boxes": order,
        "only": None if state else _only(station),
    }


def _only(station: Station) -> str:
    """When a station may be struck, where the sheet is not for one state."""
    if set(station.states) == set(STATES):
        return ""
    strung = "strung" in station.states
    unstrung = "in-piano-unstrung" in station.states
    if not strung and unstrung and set(STATES) - set(IN_PIANO) <= set(station.states):
        return "not on a strung plate"
    return "only: " + "; ".join(words.STATES[s] for s in STATES if s in station.states)


def unbroken(line: str) -> Markup:
    """A command in which no line ends between an option and its value."""
    parts = re.split(r"(--\S+ (?:\"[^\"]*\"|\S+))", line)
    return Markup("").join(element("span", part, class_="whole") if i % 2 else part for i, part in enumerate(parts))


def commands(named: str, state: State | None, order: Sequence[str]) -> tuple[str, ...]:
    """Lines to type once the taps are recorded. In the piano: the visit, from the plate to its document; else one reading."""
    taken = f"--layout {wording.argument(named)} --order {','.join(order)} --state {state or 'STATE'}"
    if state not in IN_PIANO:
        return (f"tapscan check RECORDING {taken}",)
    return (
        "tapscan plate add PLATE",
        f"tapscan visit note PLATE --state {state}",
        f"tapscan scan import PLATE RECORDING {taken} --sensor microphone",
        "tapscan visit report PLATE",
    )
