"""How two scans of one plate were made differently, and what can then not be concluded.

    unlikeness(later, baseline, shared)   Unlikeness: sentences, what is refused, how much more scatter to expect
    is_contact(conditions)                a pickup on the iron, by the words used
    sensor_kind(words)                    "contact", "microphone", or None where the words do not tell

What is refused is refused whatever the figures say; what is only worse gets a wider scatter and a sentence.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from tapscan.records import IN_PIANO, ScanConditions
from tapscan.settings import Settings

CONTACT_WORDS = ("pickup", "pick-up", "contact", "accelerometer", "piezo")
AIR_WORDS = ("microphone", "mic", "phone", "recorder", "air")
NO_CONTACT = ("no contact", "non-contact", "noncontact", "without contact", "contactless")
SURFACES = ("old-finish", "stripped", "primed", "finished")
FEW_PLACES = 3
FINISH = (
    "The surface is not the same ({a}, now {b}). A coat of finish adds weight all over: it lowers all modes by about 0.2 % and "
    "each a little differently, so a small crack cannot be told from it, and the damping of the two scans is not compared. "
    "Make a fresh baseline in the new state as soon as the finish is hard."
)


OTHER_MASS = (
    "Frequencies are not compared: {what}. A pickup of 5 g lowers the tones of a plate by up to 0.01 %, most where it sits, and that is as much as a small crack does "
    "(Rayleigh, first order). Use the same pickup at the same spot, within a centimetre."
)


@dataclass(frozen=True)
class Unlikeness:
    """What is different, what is refused (None: nothing), and what is allowed for."""

    sentences: tuple[str, ...] = ()
    refused: str | None = None  # why nothing is concluded
    loss_refused: str | None = None  # why the damping is not compared
    extra_ppm: float = 0.0  # scatter to add to each mode's frequency
    support_factor: float = 1.0  # on the supports' part of the scatter
    lowest_hz: float = 0.0  # modes below are not judged


def is_contact(conditions: ScanConditions) -> bool:
    """A pickup on the iron rather than a microphone; unknown counts as a microphone, which scatters more."""
    return sensor_kind(conditions.sensor) == "contact"


def sensor_kind(words: str | None) -> Literal["contact", "microphone"] | None:
    """A contact microphone is a pickup; what is said to have no contact is none."""
    text = plain(words)
    if any(phrase in text for phrase in NO_CONTACT):
        return "microphone"
    if "contact mic" in text:
        return "contact"
    if set(re.findall(r"[a-z]+", text)) & set(AIR_WORDS):
        return "microphone"
    return "contact" if any(word in text for word in CONTACT_WORDS) else None


def plain(words: str | None) -> str:
    """Upper and lower case, and blanks, do not make two conditions differ."""
    return " ".join((words or "").casefold().split())


def unlikeness(
    later: ScanConditions, baseline: Sequence[ScanConditions], shared_places: int, settings: Settings
) -> Unlikeness:
    """Compare the later scan's conditions with those of every baseline scan; the worst of each counts."""
    told = _Told(settings)
    for earlier in baseline:
        told.states(earlier.state, later.state)
        told.fittings(earlier.fittings, later.fittings)
        told.sensors(earlier, later)
        told.supports(earlier.supports, later.supports)
    told.rest(later, baseline, shared_places)
    return told.result()


class _Told:
    """Collects sentences, each once."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.said: dict[str, None] = {}
        self.refused: str | None = None
        self.loss_refused: str | None = None
        self.extra_ppm, self.support_factor, self.lowest_hz = 0.0, 1.0, 0.0

    def say(self, sentence: str) -> None:
        self.said[sentence] = None

    def refuse(self, why: str) -> None:
        self.say(why)
        self.refused = self.refused or why

    def refuse_loss(self, why: str) -> None:
        self.loss_refused = self.loss_refused or why

    def states(self, a: str | None, b: str | None) -> None:
        """Old and new state."""
        if a == b and a is not None:
            return
        if a is None or b is None:
            self.say("The state of the plate is not known for both scans: give it, finish and parts move modes too.")
        elif a in IN_PIANO or b in IN_PIANO:
            self.refuse(
                f"One scan was made {a}, the other {b}. Wood, strings and bolts hold the plate in the piano, so its modes are "
                "not those of the bare plate. Compare scans made in the same state."
            )
        elif a in SURFACES and b in SURFACES:
            self.say(FINISH.format(a=a, b=b))
            self.extra_ppm = self.settings.repeatability.finish_ppm
            self.refuse_loss("the surface is not the same, and a coat of finish damps")
        else:
            self.refuse(
                f"One scan was made {a}, the other {b}. The parts fitted in between weigh on the plate and move its modes. "
                "Compare scans made in the same state."
            )

    def fittings(self, a: tuple[str, ...] | None, b: tuple[str, ...] | None) -> None:
        """What was left on the plate."""
        if a is None or b is None:
            return
        changed = sorted({plain(x) for x in a} ^ {plain(x) for x in b})
        if changed:
            self.refuse(
                f"Not the same parts were on the plate: {', '.join(changed)}. Each adds weight and lowers modes as a crack "
                "does. Only scans with the same parts on the plate can be compared."
            )

    def sensors(self, a: ScanConditions, b: ScanConditions) -> None:
        """Pickup or microphone, and where."""
        if plain(a.sensor) != plain(b.sensor) and a.sensor and b.sensor:
            self.say(f"Another sensor was used ({a.sensor}, now {b.sensor}): the damping is not compared.")
            self.refuse_loss("another sensor was used")
            if sensor_kind(a.sensor) != sensor_kind(b.sensor) or is_contact(b):
                self.refuse(OTHER_MASS.format(what=f"another sensor was used ({a.sensor}, now {b.sensor})"))
        elif plain(a.sensor_place) != plain(b.sensor_place) and a.sensor_place and b.sensor_place:
            if is_contact(b):
                self.refuse(
                    OTHER_MASS.format(what=f"the pickup sat elsewhere ({a.sensor_place}, now {b.sensor_place})")
                )
            self.say(
                f"The sensor was elsewhere ({a.sensor_place}, now {b.sensor_place}): other modes are heard, so lost and new modes "
                "tell little. Put it back where it was."
            )
            if not is_contact(b):
                self.refuse_loss("the microphone was elsewhere in the room")

    def supports(self, a: str | None, b: str | None) -> None:
        """What it lay on or hung from."""
        if a is None or b is None or plain(a) == plain(b):
            return
        low = self.settings.repeatability.supports_lowest_hz
        self.say(
            f"The plate was held differently ({a}, now {b}). Modes under {low:.0f} Hz move with the supports and are not judged; "
            "nor is the damping. Lay it as it lay the first time."
        )
        self.support_factor, self.lowest_hz = self.settings.repeatability.supports_factor, low
        self.refuse_loss("the plate was held differently")

    def rest(self, later: ScanConditions, baseline: Sequence[ScanConditions], shared_places: int) -> None:
        """Time in the room and places tapped."""
        fresh = [c for c in (later, *baseline) if (c.hours_in_room or 1e9) < self.settings.thermal.hours_in_room]
        if fresh:
            self.say(
                f"The plate had stood less than {self.settings.thermal.hours_in_room:.0f} hours in the room in {len(fresh)} of the scans: "
                "iron that is warmer in one part moves some modes and not others. Let it stand overnight."
            )
        if shared_places < FEW_PLACES:
            self.say(
                f"Only {shared_places} places were tapped in all the scans, so modes were matched by frequency alone. "
                "Tap the same places each time."
            )

    def result(self) -> Unlikeness:
        """All that was told."""
        return Unlikeness(
            tuple(self.said), self.refused, self.loss_refused, self.extra_ppm, self.support_factor, self.lowest_hz
        )
