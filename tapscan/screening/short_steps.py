"""What to do next in one line, for a list of plates: short forms of the steps that go before all else.

in_short(steps)         what comes first; empty where the work may go on
look_in_short(steps)    the same of a plate with something that nobody has looked at
repeat_in_short(steps)  the same where a scan gave no answer

Every step that stops the work, or has it rest, has a short form.
"""

from collections.abc import Iterable

from tapscan.screening.next_steps import (
    CALL_FOR_BARE,
    CRACK_TEST,
    DECISIONS,
    HARD_TEST,
    HOLD_PART_UNKNOWN,
    HOLDS,
    HOLDS_BUZZ,
    HOLDS_PART,
    MAKE_SURE,
    READ_AGAIN,
    READ_ANEW,
    STOP,
    STOP_UNKNOWN,
    STOP_UNSTRUNG,
)
from tapscan.screening.step import Step

EXAMINE = "Have it examined, and note what was found."
REPEAT = "Repeat the test."
DECIDED = "A flaw was found: have a qualified person decide what is to be done with the plate."
STOPS = {
    STOP: "Stop: do not tap the plate again.",
    STOP_UNSTRUNG: "Stop: do not tap the plate again.",
    STOP_UNKNOWN: "If it is in the piano or carries strings, stop: do not tap the plate again.",
}
SHORT = {
    **{step: f"{said} {EXAMINE}" for step, said in STOPS.items()},
    **dict.fromkeys(HOLDS, EXAMINE),
    **dict.fromkeys(HOLDS_BUZZ, "No further work on it: tap it again with loose parts held still."),
    **dict.fromkeys((*HOLDS_PART, HOLD_PART_UNKNOWN), "No further work on it until all its places are tapped."),
    MAKE_SURE: "Make sure which plate was tapped, and in which order.",
    READ_AGAIN: "Soft and hard seem exchanged: have the scan read again in the right order.",
    READ_ANEW: "Have the scan read anew: most checks were not made.",
    CALL_FOR_BARE: "Before anyone relies on the plate, have it examined.",
}
ANEW = frozenset(
    (READ_AGAIN, READ_ANEW, *HOLDS_BUZZ, *HOLDS_PART, HOLD_PART_UNKNOWN)
)  # another reading or scan answers them


def in_short(steps: Iterable[Step], *, examined: bool = False) -> str:
    """The first of them, for a list, which must never ask for what the report forbids; `examined` : whoever was asked to look has looked."""
    every = tuple(steps)
    first = next((s for s in every if s in SHORT), None)
    if first is None:
        return ""
    if first in (*STOPS, *HOLDS) and any(s in DECISIONS for s in every) and not {CRACK_TEST, HARD_TEST} & set(every):
        return f"{STOPS[first]} {DECIDED}" if first in STOPS else first.text
    return first.text if examined and first in HOLDS else SHORT[first]


def look_in_short(steps: Iterable[Step]) -> str:
    """Another reading or scan gives way to the examination."""
    return in_short(s for s in steps if s not in ANEW) or EXAMINE


def repeat_in_short(steps: Iterable[Step]) -> str:
    """What else is asked for first goes before."""
    return in_short(steps) or REPEAT
