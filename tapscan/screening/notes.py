"""Nearest note name of a mode, A4 = 440 Hz, equal temperament (ISO 16:1975).

with_notes(modes)   the same modes with `note` and `cents` filled in
"""

from collections.abc import Sequence
from math import log2
from typing import Any

from msgspec.structs import replace

from tapscan.records import Mode

NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


def with_notes(modes: Sequence[Mode]) -> tuple[Mode, ...]:
    """Note and deviation in cents (-50..50) for each mode."""
    if not modes:
        return ()
    return tuple(replace(m, **note_of(m.frequency_hz)) for m in modes)


def note_of(frequency_hz: float) -> dict[str, Any]:
    """Name of the nearest note and the deviation from it. Own code: loading librosa for these lines took as long as screening a tap."""
    semitones = 12 * log2(frequency_hz / 440.0)  # over A4, which is the 69th key of MIDI
    key = 69 + round(semitones)
    return {"note": f"{NAMES[key % 12]}{key // 12 - 1}", "cents": 100 * (semitones - round(semitones))}
