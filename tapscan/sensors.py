"""What listens: a contact pickup on the iron, or a microphone; and how many samples a second are read.

Sensor               kind, note, mass and place
read_kind(text)      the kind as a person types it
"""

from typing import Literal

from msgspec import Struct

from tapscan.errors import WrongUsage

SensorKind = Literal["contact", "microphone"]
SENSOR_WORDS: dict[SensorKind, str] = {
    "contact": "a contact pickup on the iron",
    "microphone": "a microphone or a phone",
}
IN_BRIEF: dict[SensorKind | None, str] = {"contact": "pickup on the iron", "microphone": "microphone", None: "what listened is not written down"}  # fmt: skip
SENSOR_KINDS: tuple[SensorKind, ...] = tuple(SENSOR_WORDS)
LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 8_000, 192_000  # sample rates of a recording
HEAVIEST_G = 2000.0  # more is a slip of the hand, or kilograms


class Sensor(Struct, frozen=True):
    """What listened; only `kind`, `mass_g` and `place` decide what is compared."""

    kind: SensorKind | None = None  # contact: on the iron; None: not told
    note: str | None = None  # in the shop's words; never read by the program
    mass_g: float | None = None  # g, with what moves along with it: wax, magnet, the cable's end
    place: str | None = None  # where it sat or stood, in the shop's words

    @property
    def contact(self) -> bool:
        """On the iron for certain; unknown counts as a microphone, which scatters more."""
        return self.kind == "contact"

    @property
    def told(self) -> str | None:
        """All in one line, for people; None where nothing is known."""
        mass = None if self.mass_g is None else f"{self.mass_g:g} g"
        facts = [self.kind or "kind unknown", self.note, mass, self.place and f"at {self.place}"]
        return ", ".join(f for f in facts if f) if any((self.kind, *facts[1:])) else None


OWN_WORDS = "; words of your own go to --sensor-note"
NO_SENSOR = Sensor()  # nobody wrote down what listened


def read_kind(text: str, more: str = "") -> SensorKind:
    """Capitals and blanks do not matter. Raises BadRequest with one line, which `more` ends."""
    for kind in SENSOR_KINDS:
        if kind == text.strip().casefold():
            return kind
    raise WrongUsage(f"sensor {text!r}: write contact (a pickup on the iron) or microphone{more}")
