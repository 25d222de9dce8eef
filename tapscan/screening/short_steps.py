"""What to do next in one line, for a list of plates: short forms of the steps that go before all else.

in_short(steps)   what comes first; empty where the work may go on
"""

from collections.abc import Iterable

from tapscan.screening.next_steps import (
    CALL_FOR_BARE,
    HOLDS,
    MAKE_SURE,
    READ_AGAIN,
    STOP,
    STOP_UNKNOWN,
    STOP_UNSTRUNG,
    Step,
)

EXAMINE = "Have it examined, and note what was found."
SHORT = {
    STOP: f"Stop: do not tap the plate again. {EXAMINE}",
    STOP_UNSTRUNG: f"Stop: do not tap the plate again. {EXAMINE}",
    STOP_UNKNOWN: f"If it is in the piano or carries strings, stop: do not tap the plate again. {EXAMINE}",
    **dict.fromkeys(HOLDS, EXAMINE),
    MAKE_SURE: "Make sure which plate was tapped, and in which order.",
    READ_AGAIN: "Soft and hard seem exchanged: have the scan read again in the right order.",
    CALL_FOR_BARE: "Before anyone relies on the plate, have it examined.",
}


def in_short(steps: Iterable[Step], *, examined: bool = False) -> str:
    """The first of them, for a list, which must never ask for what the report forbids; `examined` : whoever was asked to look has looked."""
    first = next((s for s in steps if s in SHORT), None)
    if first is None:
        return ""
    return first.text if examined and first in HOLDS else SHORT[first]
