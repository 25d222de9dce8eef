"""Where a plate is tapped and looked at: stations, the picture they stand on, the eye's list, and the states a plate can be in.

Records only, read by all rooms; `tapscan.layouts` makes them from TOML.
"""

from typing import Literal

from msgspec import Struct

State = Literal["as-found", "old-finish", "stripped", "primed", "finished", "fitted-out", "in-piano-unstrung", "strung"]
STATES: tuple[State, ...] = (
    "as-found",
    "old-finish",
    "stripped",
    "primed",
    "finished",
    "fitted-out",
    "in-piano-unstrung",
    "strung",
)
IN_PIANO: tuple[State, ...] = ("as-found", "in-piano-unstrung", "strung")
STRUNG: tuple[State, ...] = ("as-found", "strung")  # strings pull and ring along; as it was found, it has them
# What the eye goes over on a visit, in the order of the round; the keys are heard, not seen.
KEYS = "keys"
REGIONS: dict[str, str] = {
    "struts": "struts, faces and flanks",
    "strut-ends": "ends of the struts",
    "corners": "corners of the openings",
    "pin-field": "pin field",
    "agraffes": "agraffe flange, capo or pressure bar",
    "hitch-rail": "hitch-pin rail",
    "rim": "rim and plate-screw holes",
    "nose-bolts": "nose bolts and their bosses",
    "bass-end": "bass end and its corner",
    "treble-end": "treble end",
    "horn": "horn, the arm to the crossbar below",
    "underside": "underside or back",
    KEYS: "keys, played by hand",
}
EYE_REGIONS = tuple(region for region in REGIONS if region != KEYS)
# What the eye may find on any plate; on a visit these and two signs more.
CHECKLIST: dict[str, str] = {
    "iron-line": "a line or crack in the iron",
    "rust-line": "a line of rust",
    "cracked-finish": "a crack in the finish",
    "offset-edges": "mismatched edges",
    "repair": "a weld, braze or pin repair",
    "missing-screws": "plate screws missing",
    "loose-nose-bolts": "loose nose bolts",
    "pitch-not-held": "a section that does not hold pitch",
}
BY_EYE = tuple(item for item in CHECKLIST if item != "pitch-not-held")  # that one is heard, or the owner is asked
SIGNS: dict[str, str] = {**CHECKLIST, "buzz": "a buzz", "other": "something else"}
Direction = Literal["above", "front", "sideways"]
Point = tuple[float, float]  # x, y, each 0..1: (0, 0) is the upper left corner of the picture, (1, 1) the lower right


class Station(Struct, frozen=True):
    """One marked place of a layout."""

    name: str
    where: str  # in plain words
    x: float  # 0..1 of the picture's width, bass side to treble side
    y: float  # 0..1 of its height; grand: tail to keyboard, upright: pins to bottom
    direction: Direction | None = None  # of the tap; None when the layout does not tell
    trouble: str = ""  # why this place: what is looked for there
    states: tuple[State, ...] = STATES  # in which it may be struck


class Member(Struct, frozen=True):
    """A strut (two points: its middle line) or a block of iron of its own thickness (three points or more: its edge)."""

    name: str
    points: tuple[Point, ...]
    thickness_mm: float | None = None  # across the plate; None: guessed by kind
    width_mm: float | None = None  # of a strut, in the plate; None: guessed

    @property
    def is_line(self) -> bool:
        """A strut."""
        return len(self.points) == 2


class Outline(Struct, frozen=True):
    """A plate as a schematic picture; no real maker's plate."""

    name: str
    width_to_height: float  # of the whole picture
    edge: tuple[Point, ...]  # closed by itself
    openings: tuple[tuple[Point, ...], ...] = ()  # where there is no iron
    pin_fields: tuple[tuple[Point, ...], ...] = ()
    members: tuple[Member, ...] = ()
    screws: tuple[Point, ...] = ()
    sides: tuple[str, str, str, str] = ("", "", "", "")  # words at top, right, bottom and left
    width_m: float | None = None  # of the real plate; None: guessed
    web_mm: float | None = None  # thickness of the plain plate; None: guessed
    rim_mm: float | None = None  # thickness along the edge; None: guessed

    @property
    def struts(self) -> tuple[tuple[str, Point, Point], ...]:
        """Name and ends of each."""
        return tuple((m.name, m.points[0], m.points[1]) for m in self.members if m.is_line)


class Layout(Struct, frozen=True):
    """Stations in the order in which they are tapped."""

    name: str
    kind: str  # grand, upright, or a word of one's own
    note: str
    stations: tuple[Station, ...]
    outline: Outline | None = None

    def allowed(self, state: State | None) -> tuple[Station, ...]:
        """Stations that may be struck in `state`; all of them when it is not known."""
        return tuple(s for s in self.stations if state is None or state in s.states)

    def barred(self, state: State | None) -> list[str]:
        """Names of those that must not be struck in `state`; none when it is not known."""
        return [s.name for s in self.stations if state is not None and state not in s.states]
