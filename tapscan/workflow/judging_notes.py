"""Is this key one that counts? By the same eyes as a key in a file.

judge_note(clip, wanted, pitch, settings, contact)   JudgedNote: the key that was heard, and why it is refused if it is
WRONG                                                 what can be wrong, by code, in sentences
"""

import numpy as np
from msgspec import Struct

from tapscan.faults import fault
from tapscan.recording.files import flac_bytes
from tapscan.recording.trigger import Clip
from tapscan.records import PlayedNote
from tapscan.settings import Settings
from tapscan.signal.notes.between_partials import HELD_TOO_SHORT
from tapscan.signal.notes.hear_notes import hear_pieces
from tapscan.signal.notes.strings import key_number
from tapscan.signal.strikes.detect import clipped

SOON_GONE_FROM = 60  # from A5 on a string may die away sooner than its damper falls, or has none: how long it was held cannot be told
NEAR_S = 0.1  # a note found so near to the onset is this note
WRONG = {
    "lost": f"{fault('lost').told} Close other programs, then play it again.",
    "clipped": f"{fault('clipped').told} Turn the input down, then play it again.",
    "no key": "That was no key of a piano, or too faint. Play it again, firm, and let nothing else sound.",
    "two keys": "Another key or sound came before the listening was over. Play one key, and wait for READY.",
    "hurried": "It was not quiet before that key. Wait for READY, then play it again.",
    "short": "Held too short. Hold it for a third to half a second, then let go.",
    "long": "Held too long, or with the pedal down: too little could be heard after the damper. Hold it for a third to half a second, then let go.",
    "not told": "Which key that was could not be told. Play it once more, firm.",
    "another key": "That sounded like {heard}.",
}


class JudgedNote(Struct, frozen=True, eq=False):
    """`refused` is a code of WRONG, or None: it counts. `content` is the clip as a FLAC file."""

    content: bytes
    note: PlayedNote | None
    refused: str | None

    @property
    def words(self) -> str:
        """Why it is refused."""
        return WRONG[self.refused or "no key"].format(heard=self.note.key if self.note else None)


def judge_note(clip: Clip, wanted: str | None, pitch: float | None, settings: Settings, *, contact: bool) -> JudgedNote:
    """`wanted` : None for any key. `pitch` : of the piano so far, in cents."""
    content = flac_bytes(clip.samples, clip.sample_rate_hz)
    samples = np.asarray(clip.samples, dtype=float)
    found, _ = hear_pieces([("T1", samples)], clip.sample_rate_hz, settings, contact=contact, pitch=pitch)
    near = [n for n in found if abs(n.onset_s - clip.onset_s) < NEAR_S]
    note = near[0] if near else None
    if clip.lost:
        return JudgedNote(content, note, "lost")
    if clipped(samples, round(settings.strikes.clip_run)):
        return JudgedNote(content, note, "clipped")
    if note is None:
        return JudgedNote(content, None, "no key")
    return JudgedNote(content, note, "two keys" if len(found) > 1 else _why_refused(note, wanted, contact))


def _why_refused(note: PlayedNote, wanted: str | None, contact: bool) -> str | None:
    """The first that holds, in the order in which a person would mend them."""
    if note.buzz_reason not in (None, HELD_TOO_SHORT):
        return "hurried"
    if note.key is None:
        return "not told" if note.clear is not None else "no key"
    if wanted is not None and note.key != wanted:
        return "another key"
    if key_number(note.key) >= SOON_GONE_FROM:
        return None
    if note.buzz_reason is not None:
        return "short"
    return "long" if contact and (note.held_s is None or note.listened_s is None) else None
