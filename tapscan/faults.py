"""What can be wrong with a tap: each fault once, with its words, what would mend it, and what it keeps out.

FAULTS               by code, in the order in which a person would mend them
fault(code)          one of them; KeyError for a code that is none
in_words(codes)      what they mean, as a sentence has them
UNUSABLE             codes of faults that keep a strike out of the modes
"""

from collections.abc import Iterable

from msgspec import Struct


class Fault(Struct, frozen=True):
    """`means` completes "3 of 24 taps: ..."; `remedy` is a sentence or two."""

    code: str
    means: str
    remedy: str
    blocks_modes: bool = False  # the strike is shown but not used for modes

    @property
    def sentence(self) -> str:
        """What was wrong and what would mend it."""
        return f"{self.told} {self.remedy}"

    @property
    def told(self) -> str:
        """What was wrong, as a sentence."""
        return f"{self.means[0].upper()}{self.means[1:]}."


_EVERY = (
    Fault("lost", "part of the sound was lost on its way in", "Close other programs, then tap again."),
    Fault("no tap", "no tap was heard", "Tap the iron itself, one clear blow."),
    Fault("clipped", "too loud for the recorder (clipped)", "Turn the input down until the loudest tap stays well under full scale, or tap more lightly.", blocks_modes=True),
    Fault("double hit", "the hammer touched twice", "Let it bounce off by itself."),
    Fault("crowded", "another sound followed at once", "Give one tap at a time and let it ring; leave three seconds between taps.", blocks_modes=True),
    Fault("not a tap", "it sounded like talk or handling, not like tapped iron", "Say nothing while tapping, and let nothing else sound.", blocks_modes=True),
    Fault("ringing", "the last tap was still ringing", "Wait until the bar has gone down."),
    Fault("weak", "hardly louder than the noise", "Wait until it is quiet, or bring the microphone nearer. Tap harder on bare plates only.", blocks_modes=True),
    Fault("thud", "a dull thud, not ringing iron", "Tap the iron itself."),
    Fault("cut off", "the next sound came before the ring was over", "Wait longer."),
    Fault("cut short", "the next tap or the end of the file came before the ring was over", "Leave three seconds between taps, and after the last one."),
    Fault("hum", "mains hum in the recording", "Move away from leads and lamps, or record on battery."),
)  # fmt: skip
FAULTS = {f.code: f for f in _EVERY}
UNUSABLE = frozenset(f.code for f in _EVERY if f.blocks_modes)


def fault(code: str) -> Fault:
    """By its code."""
    return FAULTS[code]


def in_words(codes: Iterable[str]) -> str:
    """Joined; the word none when there is none. A code that an earlier version wrote is shown as it stands."""
    return "; ".join(FAULTS[c].means if c in FAULTS else c for c in codes) or "none"
