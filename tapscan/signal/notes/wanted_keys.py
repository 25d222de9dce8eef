"""Keys that were to be played, and what became of them.

read_keys(text)              "A0-C8", "A3,C4" or both mixed, in the order of play
beside_wanted(notes, wanted) (missing, doubled, besides); a key is never moved to fit
played_notes(...)            PlayedNotes of a scan's recordings
"""

from collections import Counter
from collections.abc import Sequence

import numpy as np

from tapscan.errors import WrongUsage
from tapscan.records import FloatArray
from tapscan.records.notes import PlayedNote, PlayedNotes
from tapscan.settings import Settings
from tapscan.signal.notes.foreign_tones import foreign_tones
from tapscan.signal.notes.hear_notes import BY_MICROPHONE, hear_pieces
from tapscan.signal.notes.strings import key_name, key_number

PICKUP_ONLY = f"{BY_MICROPHONE}, so what rings on in the iron is told by a pickup only"


def read_keys(text: str) -> tuple[str, ...]:
    """Names of keys. Raises WrongUsage."""
    keys: list[int] = []
    for part in text.split(","):
        first, dash, last = part.partition("-")
        start = key_number(first)
        stop = key_number(last) if dash else start
        if stop < start:
            raise WrongUsage(f"{part.strip()}: from the left to the right, such as {key_name(stop)}-{key_name(start)}")
        keys += range(start, stop + 1)
    return tuple(key_name(k) for k in keys)


def beside_wanted(
    notes: Sequence[PlayedNote], wanted: Sequence[str]
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """By the keys alone; notes whose key is not known are neither."""
    heard = Counter(n.key for n in notes if n.key)
    asked = Counter(wanted)
    missing = tuple(k for k in dict.fromkeys(wanted) if heard[k] < asked[k])
    doubled = tuple(k for k, n in heard.items() if n > max(1, asked[k]))
    besides = tuple(k for k in heard if wanted and k not in asked)
    return missing, doubled, besides


def played_notes(
    recordings: Sequence[tuple[str, FloatArray, int]],
    wanted: Sequence[str],
    settings: Settings,
    *,
    contact: bool,
    one_take: bool = False,
) -> PlayedNotes:
    """`recordings` : id, (n,) samples and rate of each, in order. `one_take` : they are pieces of one, by one sensor at one level, all at one rate."""
    notes: list[PlayedNote] = []
    pitches: list[float] = []
    for take in _takes(recordings, one_take):
        pieces = [(name, samples) for name, samples, _ in take]
        found, pitch = hear_pieces(pieces, take[0][2], settings, contact=contact, first=len(notes) + 1)
        notes += found
        pitches += [] if pitch is None else [pitch]
    pitch = float(np.median(pitches)) if pitches else None
    missing, doubled, besides = beside_wanted(notes, wanted)
    foreign = tuple(foreign_tones(notes, pitch, settings)) if contact else ()
    return PlayedNotes(
        tuple(notes), tuple(wanted), missing, doubled, besides, pitch, foreign, None if contact else PICKUP_ONLY
    )


def _takes(
    recordings: Sequence[tuple[str, FloatArray, int]], one_take: bool
) -> list[Sequence[tuple[str, FloatArray, int]]]:
    return [recordings] if one_take and recordings else [[r] for r in recordings]
