"""What the rules read and what they say."""

from collections.abc import Sequence
from typing import Literal

from msgspec import Struct

from tapscan.places import Layout, State
from tapscan.records.bar import BarReadings
from tapscan.records.modes import ForceShift, LateSound, Mode, RoomLimit, RoomRing, SelfScatter, SteadyTone
from tapscan.records.notes import PlayedNotes
from tapscan.records.sound import Recording, Strike

Interpretation = Literal["relevant", "nonrelevant", "false"]
Status = Literal["new", "unchanged"]


class Scan(Struct, frozen=True):
    """Everything the rules may read."""

    recordings: tuple[Recording, ...]
    strikes: tuple[Strike, ...]
    modes: tuple[Mode, ...]
    state: State | None = None
    layout: str | None = None
    places: tuple[tuple[str, str], ...] = ()  # station and where it is, in the layout's words
    map: Layout | None = None  # the layout with its positions, for the map and for what may be struck
    parts_held: bool = False  # hook, screws and pads were held still during the taps
    part_of: int | None = (
        None  # places that the layout has, where on purpose or for want of time only a part was tapped
    )
    taps_amiss: tuple[str, ...] = ()  # what is missing or double against the layout
    force_shifts: tuple[ForceShift, ...] = ()  # empty: see force_shifts_reason
    force_shifts_reason: str | None = "not measured"  # why there is none
    force_step_db: float | None = None  # how much louder the hard taps were, middle of the stations
    steady_tones: tuple[SteadyTone, ...] = ()
    steady_tones_reason: str | None = "not measured"
    late_sounds: tuple[LateSound, ...] = ()
    late_sounds_reason: str | None = "not measured"
    room: RoomRing | None = None  # none: see room_reason
    room_reason: str | None = "not measured"
    # no pickup is known to have listened, and a room, if there is one in the sound, could not be told from the plate; None: stored before this was kept
    room_left_in: bool | None = None
    room_limit: RoomLimit | None = None  # none: see room_limit_reason
    room_limit_reason: str | None = "not measured"
    bar: BarReadings | None = None  # the shop's reference bar, struck before and after; none: see bar_reason
    bar_reason: str | None = "no reference bar was tapped with this scan"
    played: PlayedNotes | None = None  # keys were played, and nothing was tapped
    self_scatter: SelfScatter | None = None  # none: see self_scatter_reason
    self_scatter_reason: str | None = "not measured"

    @property
    def agreement(self) -> str:
        """How the taps agree with each other, in one sentence."""
        if self.self_scatter is not None:
            return self.self_scatter.in_words
        return f"How the taps agree with each other was not told: {self.self_scatter_reason}."

    def where(self, station: str) -> str:
        """Station with its place in words, as far as the layout tells."""
        place = dict(self.places).get(station)
        return f"{station} ({place})" if place else station


class Condition(Struct, frozen=True):
    """One figure a rule looked at, with its limit."""

    name: str
    value: float | str | None
    limit: float | str | None
    unit: str
    source: str


class Indication(Struct, frozen=True):
    """What a rule has to say. A person evaluates it."""

    id: str
    rule: str
    interpretation: Interpretation
    status: Status | None
    stations: tuple[str, ...]
    modes: tuple[str, ...]
    sentence: str
    conditions: tuple[Condition, ...]
    other_explanations: tuple[str, ...]


def same_place(a: Sequence[str], b: Sequence[str]) -> bool:
    """Of the places that two findings name: one in common, or none at all."""
    return bool(set(a) & set(b)) or not (a or b)


class RuleNotRun(Struct, frozen=True):
    """A rule that lacked its input; never to be read as passed."""

    rule: str
    reason: str
