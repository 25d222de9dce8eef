"""What a step is: who does it, in which states of the plate it may be given, and what it asks for.

Step                    one thing to do; it cannot be made where it asks for what may never be done
OUT, INSIDE, TENSION    states of the plate; UNKNOWN: nobody told
NEVER, NEVER_TAPPED     what no step may ask for on a suspected plate
"""

from typing import Literal

from msgspec import Struct

from tapscan.places import IN_PIANO, STATES, STRUNG, State

Who = Literal["workshop", "buyer"]
Act = Literal[
    "look", "photograph", "call", "ask", "read-again", "stop", "keep", "tell-state", "hold-parts", "tap", "mute", "test-hardness", "test-cracks",
    "tighten", "load", "raise", "finish",
]  # fmt: skip
NEVER: frozenset[Act] = frozenset({"tighten", "load", "raise", "finish"})  # on a suspected plate in any state
NEVER_TAPPED: frozenset[Act] = NEVER | {"tap", "mute", "hold-parts"}  # where a suspected plate may carry strings
Told = State | None  # None: the state of the plate is not known
OUT: frozenset[Told] = frozenset(s for s in STATES if s not in IN_PIANO)
INSIDE: frozenset[Told] = frozenset(IN_PIANO)
TENSION: frozenset[Told] = frozenset(STRUNG)
COATED: frozenset[Told] = frozenset({"finished", "fitted-out"})
UNKNOWN: frozenset[Told] = frozenset({None})
EVERY = OUT | INSIDE | UNKNOWN


class Step(Struct, frozen=True):
    """One thing to do. `acts` is what it asks for; what it warns of is in the text alone. Raises ValueError where that may not be done in one of its states."""

    code: str
    text: str
    who: Who
    states: frozenset[Told]
    acts: frozenset[Act]
    unsuspected: bool = False  # given only where nothing is suspected, or where `may_tap`

    def __post_init__(self) -> None:
        strings = not self.unsuspected and not self.states <= OUT  # a suspected plate that may carry them
        if wrong := self.acts & (NEVER_TAPPED if strings else NEVER):
            raise ValueError(f"step {self.code!r} asks to {', '.join(sorted(wrong))} where that may never be done")

    @property
    def line(self) -> str:
        """As it is printed."""
        return f"{self.who.capitalize()}: {self.text}"
