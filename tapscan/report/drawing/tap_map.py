"""Maps of the plate on which a person works: every station can be named, chosen and dropped upon.

    tap_map(layout, taps, name)       how many taps lie at each place; a ring with its number, a broken square where there is none
    way_map(layout, here, done, name) where to tap now, while recording

`barred` : places that must not be struck in the state of the plate; a barred square, as on the sheet.

Each station is a <g data-station="S1">, so that a page's own script finds it.
"""

from collections.abc import Callable, Collection, Mapping

from markupsafe import Markup

from tapscan import wording
from tapscan.places import Layout, Point, Station
from tapscan.report import words
from tapscan.report.drawing.labels import labels
from tapscan.report.drawing.plate_drawing import INK, Canvas, Kind, apart, element, mark, plate, whole

WIDTH, RADIUS, HERE_RADIUS = 520.0, 9.0, 14.0
FIGURE = 11  # size of the figures within the rings
NEVER = "not to be tapped in this state"
TOLD: dict[Kind, str] = {"look": "tap here now", "leave": NEVER, "tapped": "done", "untapped": "to come"}
Drawn = Callable[[Station, Point], Markup]


def tap_map(layout: Layout, taps: Mapping[str, int], name: str = "taps", barred: Collection[str] = ()) -> Markup:
    """`taps` : by station."""
    said = {s.name: wording.counted(taps.get(s.name, 0), "tap") for s in layout.stations}
    said |= {b: NEVER if not taps.get(b) else f"{said[b]}, {NEVER}" for b in barred}

    def drawn(s: Station, at: Point) -> Markup:
        n = taps.get(s.name, 0)
        figure = element("text", n, x=at[0], y=at[1] + 4, text_anchor="middle", font_size=FIGURE, fill=INK)
        return mark("tapped" if n else "leave" if s.name in barred else "untapped", at, RADIUS) + (
            figure if n else Markup("")
        )

    title = f"Map of the plate with {wording.counted(len(layout.stations), 'station')}"
    told = "; ".join(f"{station}: {count}" for station, count in said.items())
    return _map(layout, name, title, told, said, drawn)


def way_map(
    layout: Layout, here: str | None, done: Collection[str], name: str = "way", barred: Collection[str] = ()
) -> Markup:
    """The place to tap is a filled diamond, what is done a ring, what is to come a broken square."""
    kinds: dict[str, Kind] = {
        s.name: "look"
        if s.name == here
        else "leave"
        if s.name in barred
        else "tapped"
        if s.name in done
        else "untapped"
        for s in layout.stations
    }
    said = {name: TOLD[kind] for name, kind in kinds.items()}

    def drawn(s: Station, at: Point) -> Markup:
        kind = kinds[s.name]
        return mark(kind, at, HERE_RADIUS if s.name == here else RADIUS)

    return _map(
        layout, name, "Where to tap now", f"Now: {here}." if here else "All places are done.", said, drawn, here
    )


def _map(
    layout: Layout, name: str, title: str, told: str, said: Mapping[str, str], drawn: Drawn, large: str | None = None
) -> Markup:
    """`large` : the station whose mark is a large one."""
    canvas = Canvas(layout, WIDTH)
    parts, spots = plate(canvas, name), []
    places = apart([canvas.at((s.x, s.y)) for s in layout.stations], [RADIUS] * len(layout.stations))
    for station, at in zip(layout.stations, places, strict=True):
        hint = element("title", words.legible(f"{station.name}, {station.where}: {said[station.name]}"))
        parts.append(element("g", hint, drawn(station, at), data_station=station.name, class_="station"))
        spots.append((station.name, at, HERE_RADIUS if station.name == large else RADIUS, False))
    return whole(canvas, name, title, told, [*parts, *labels(canvas, spots)])
