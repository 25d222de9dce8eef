"""Maps of the plate for the report, as inline SVG: what was found where, and where a mode is strong.

    marks(screening)                                    Mark of each station of the layout
    station_map(layout, marks, name, width)             outline and stations; a mark's shape tells its meaning
    amplitude_map(layout, amplitudes, tapped, name, what) outline and stations; a disc's size tells how strong a mode is there
    belief_map(layout, found, name)                     outline and the likeliest parts; a disc is the darker, the likelier it lies there
    legend(layout, marks)                               (mark, words) for what occurs
    amplitude_legend()                                   (mark, words) for the sizes

Without a layout there is nothing to draw: callers show no map then, not an empty box. Words from outside are escaped.
"""

from collections.abc import Mapping, Sequence
from math import inf, isfinite

from markupsafe import Markup
from msgspec import Struct

from tapscan import wording
from tapscan.places import Layout
from tapscan.records import LikelyPlace, ModalAmplitude, Screening, Whereabouts
from tapscan.report import words
from tapscan.report.drawing.labels import labels
from tapscan.report.drawing.plate_drawing import (
    Canvas,
    Kind,
    apart,
    disc,
    element,
    mark,
    plate,
    screw,
    shaded,
    whole,
)
from tapscan.screening.disposition import PART_ONLY

SMALL, LARGE = 300.0, 460.0  # units; a phone shows the large one at about three quarters of its size
RADIUS = 5.5
LARGEST = 15.0  # radius of the disc where a mode is strongest
FAINT_SHARE, MOST_PLACES, LEAST_DISC = 0.02, 6, 4.0  # of the belief map
LETTERS = "ABCDEF"  # of the likeliest parts, on the map and in the table beside it
FLOOR_DB = -30.0  # below the strongest place: drawn as faint
MEANING: dict[Kind, str] = {
    "look": "something to look at here",
    "tapped": "tapped; nothing points to this place",
    "unanswered": "tapped; the test gives no answer",
    "unusable": "tapped, but no tap could be used",
    "untapped": "not tapped",
}
SIZES_DB = (
    (0.0, "strongest here"),
    (-10.0, "a third of that (\N{MINUS SIGN}10 dB)"),
    (-20.0, "a tenth (\N{MINUS SIGN}20 dB)"),
)


class Mark(Struct, frozen=True):
    """What one station's mark says."""

    kind: Kind
    words: str


def marks(screening: Screening) -> dict[str, Mark]:
    """By station of the layout, in its order; empty without a layout.

    An indication that is not relevant raises no mark. One that stood in the baseline does: it is still to be looked at.
    """
    scan = screening.scan
    silent = screening.disposition == "inconclusive" and not screening.headline.startswith(PART_ONLY)
    if scan.map is None:
        return {}
    raised = [i for i in screening.indications if i.interpretation == "relevant"]
    look = {station for i in raised for station in i.stations}
    struck = {s.station for s in scan.strikes}
    used = {s.station for s in scan.strikes if s.usable}
    found = {}
    for station in scan.map.stations:
        name = station.name
        heard: Kind = "unanswered" if silent else "tapped"
        kind: Kind = "look" if name in look else heard if name in used else "unusable" if name in struck else "untapped"
        said = MEANING[kind]
        if kind == "untapped" and scan.state and scan.state not in station.states:
            said += ", and not to be tapped in this state"
        found[name] = Mark(kind, said)
    return found


def station_map(layout: Layout, found: Mapping[str, Mark], name: str, width: float = LARGE) -> Markup:
    """`name` begins the ids in the drawing, so that several share a page."""
    canvas = Canvas(layout, width)
    parts, spots = plate(canvas, name), []
    ranked = sorted(layout.stations, key=lambda s: _kind(found, s.name) == "look")  # what matters lies on top
    radii = [1.6 * RADIUS if _kind(found, s.name) == "look" else RADIUS for s in ranked]
    places = apart([canvas.at((s.x, s.y)) for s in ranked], radii)
    for station, at, r in zip(ranked, places, radii, strict=True):
        kind = _kind(found, station.name)
        said = found[station.name].words if station.name in found else MEANING["untapped"]
        hint = element("title", words.legible(f"{station.name}, {station.where}: {said}"))
        parts.append(element("g", hint, mark(kind, at, RADIUS)))
        spots.append((station.name, at, r, kind == "look"))
    return whole(
        canvas,
        name,
        f"Map of the plate with {wording.counted(len(spots), 'station')}",
        _told(layout, found),
        [*parts, *labels(canvas, spots)],
    )


def amplitude_map(
    layout: Layout, amplitudes: Sequence[ModalAmplitude], tapped: Sequence[str], name: str, what: str
) -> Markup | None:
    """`what` names the mode; amplitudes in dB at stations, any common reference. None where no station is on the map."""
    db = {s.station: s.amplitude_db for s in amplitudes if isfinite(s.amplitude_db)}
    on_map = [s for s in layout.stations if s.name in db]
    if not on_map:
        return None
    top = max(db[s.name] for s in on_map)
    canvas = Canvas(layout, SMALL)
    parts, spots = plate(canvas, name), []
    for station in sorted(layout.stations, key=lambda s: -db.get(s.name, -inf)):  # small discs lie on top of large ones
        at = canvas.at((station.x, station.y))
        below = db[station.name] - top if station.name in db else None
        r = RADIUS if below is None else radius(below)
        kind: Kind = "faint" if station.name in tapped else "untapped"
        drawn = mark(kind, at, 0.8 * RADIUS) if below is None or below < FLOOR_DB else disc(at, r)
        hint = element(
            "title", words.legible(f"{station.name}, {station.where}: {_strength(below, station.name in tapped)}")
        )
        parts.append(element("g", hint, drawn))
        spots.append((station.name, at, r if below is not None and below >= FLOOR_DB else 0.8 * RADIUS, below == 0))
    order = sorted(on_map, key=lambda s: -db[s.name])
    said = "; ".join(f"{s.where}, {s.name}: {_strength(db[s.name] - top, True)}" for s in order[:6])
    return whole(
        canvas,
        name,
        f"Where {what} is strong",
        f"From the strongest place down: {said}.",
        [*parts, *labels(canvas, spots)],
    )


def belief_map(layout: Layout, found: Whereabouts, name: str) -> Markup:
    """Darkness and size of a disc tell the share of the belief; its letter the order, so that grey print loses nothing. Numbers are the struts'."""
    canvas = Canvas(layout, SMALL)
    parts, spots = plate(canvas, name), []
    shown = [p for p in found.places if p.share >= FAINT_SHARE][:MOST_PLACES]
    at = apart([canvas.at((p.x, p.y)) for p in shown], [_belief_radius(p.share) for p in shown])
    for letter, place, spot in reversed(list(zip(LETTERS, shown, at, strict=False))):
        hint = element("title", words.legible(f"{letter}: {_belief(place)}"))
        parts.append(element("g", hint, shaded(spot, _belief_radius(place.share), place.share)))
        spots.append((letter, spot, _belief_radius(place.share), letter == LETTERS[0]))
    said = "; ".join(f"{letter}: {_belief(p)}" for letter, p in zip(LETTERS, shown, strict=False))
    return whole(canvas, name, "Where the cause may lie", f"{said}.", [*parts, *labels(canvas, spots)])


def _belief(place: LikelyPlace) -> str:
    where = f", {place.where}" if place.where else ""
    return f"{place.member}{where}, {100 * place.share:.0f} of 100"


def _belief_radius(share: float) -> float:
    return LEAST_DISC + (LARGEST - LEAST_DISC) * share**0.5


def radius(below_db: float) -> float:
    """Radius of a disc whose area goes as the amplitude; `below_db` <= 0, re the strongest place."""
    return float(LARGEST * 10 ** (max(below_db, FLOOR_DB) / 40))


def legend(layout: Layout, found: Mapping[str, Mark]) -> list[tuple[Markup, str]]:
    """Only of marks that occur, with how many there are; and the screws where the outline has them."""
    kinds = [m.kind for m in found.values()]
    drawn = [
        (_sample(mark(k, (10, 10), RADIUS)), f"{said} ({kinds.count(k)})") for k, said in _meanings(found) if k in kinds
    ]
    screws = layout.outline is not None and layout.outline.screws
    return [*drawn, (_sample(screw((10, 10))), "plate screw")] if screws else drawn


def _meanings(found: Mapping[str, Mark]) -> list[tuple[Kind, str]]:
    return list(MEANING.items())


def amplitude_legend() -> list[tuple[Markup, str]]:
    """Sizes of the discs, and the mark for faint."""
    sizes = [(_sample(disc((17, 17), radius(db)), 34), said) for db, said in SIZES_DB]
    return [
        *sizes,
        (_sample(mark("faint", (10, 10), 0.8 * RADIUS)), "tapped, but too faint to say"),
        (_sample(mark("untapped", (10, 10), 0.8 * RADIUS)), MEANING["untapped"]),
    ]


def _sample(drawn: Markup, size: int = 20) -> Markup:
    return element(
        "svg", drawn, viewBox=f"0 0 {size} {size}", width=size, height=size, aria_hidden="true", class_="sample"
    )


def _kind(found: Mapping[str, Mark], station: str) -> Kind:
    return found[station].kind if station in found else "untapped"


def _strength(below: float | None, tapped: bool) -> str:
    if below is None:
        return "too faint to say" if tapped else "not tapped"
    return "strongest" if below == 0 else f"{wording.decibels(-below)} dB below the strongest"


def _told(layout: Layout, found: Mapping[str, Mark]) -> str:
    """The map in words, what matters first."""
    pieces = []
    for kind, said in _meanings(found):
        there = [s for s in layout.stations if _kind(found, s.name) == kind]
        names = [f"{s.name} ({s.where})" if kind == "look" else s.name for s in there]
        if names:
            pieces.append(f"{said[0].upper()}{said[1:]}: {wording.listed(names, words.MOST_LISTED)}.")
    return " ".join(pieces)
