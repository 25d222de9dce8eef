"""Keys played one by one, recorded live: sound in, notes safe in the register, the next key asked for. Knows neither device nor screen.

    begin_notes(register, plate, facts, keys)   Unfinished: of keys, in the order of play; none: any
    NoteRecorder.hear(block, lost)              events that the sound led to
    NoteRecorder.key(action)                    events that a key of the computer led to
    key_told(guide)                             the key that is wanted, in words

It stands where a Recorder stands for taps, and a Session runs either. An accepted note is on the disk and in the register before its event is returned; how it goes on and
ends stands in workflow/taken.py. Which key it was is told by its sound alone: one that sounds like another key twice in a row is kept as it is, and the reading
tells what it hears; so is one that is held too short or too long for what follows, also where any key will do. Nothing is ever moved to fit.
"""

from collections.abc import Sequence

import numpy as np

from tapscan.errors import BadRequest
from tapscan.places import Layout
from tapscan.recording.trigger import Clip
from tapscan.records import FloatArray
from tapscan.register.database import Register
from tapscan.register.entries import KeptFile, NewScan
from tapscan.register.outbox import strikes_of
from tapscan.register.recording_entries import TakenStrike, Unfinished
from tapscan.register.unfinished import begin, name_of
from tapscan.settings import Settings
from tapscan.signal.notes.hear_notes import LEAST_FOR_PITCH
from tapscan.signal.notes.strings import key_words
from tapscan.workflow.catch_notes import NoteCatcher
from tapscan.workflow.guide import AnyKeys, KeyGuide
from tapscan.workflow.judging_notes import JudgedNote, judge_note
from tapscan.workflow.left_alone import ALLOWED, may_be_tapped
from tapscan.workflow.record import Action, Event
from tapscan.workflow.taken import keys_guide, keys_of

AS_HEARD = frozenset({"another key", "not told", "short", "long"})  # kept when it comes again: the player may be right
NO_KEY_NAMED = "any key, one after the other; each once"


def begin_notes(
    register: Register, plate: str, facts: NewScan, keys: Sequence[str], allowed_by: str | None = None
) -> Unfinished:
    """A new scan of played notes; `allowed_by` as of taps. Raises UnknownName, BadRequest."""
    if facts.baseline:
        raise BadRequest("played notes are no baseline: later scans are compared by taps; leave --baseline out")
    leave = may_be_tapped(register, plate, facts, allowed_by)
    plan = {"played": True, "keys": list(dict.fromkeys(keys))}
    return begin(register, plate, leave.facts, {**plan, ALLOWED: leave.open} if leave.open else plan)


def key_told(guide: KeyGuide | AnyKeys) -> str:
    """Where on the keyboard the key lies that is wanted."""
    if isinstance(guide, AnyKeys):
        return NO_KEY_NAMED
    return key_words(guide.station) if guide.station else ""


class NoteRecorder:
    """See the module."""

    layout: Layout | None = None

    def __init__(self, register: Register, unfinished: Unfinished, sample_rate_hz: int, settings: Settings) -> None:
        self.register, self.id, self.settings = register, unfinished.id, settings
        self.contact = unfinished.facts.conditions.sensor.contact
        self.wanted = keys_of(unfinished)
        self.guide = keys_guide(unfinished)
        self.trigger = NoteCatcher(sample_rate_hz, settings)
        self.paused = False
        self._strikes = strikes_of(register)
        self._keys = [s.key or "" for s in unfinished.kept]
        self._cents: dict[str, float] = {}  # of the notes that count, by their key in the register
        self._again: tuple[str | None, str | None, str | None] | None = (
            None  # wanted, heard and reason of the last refusal
        )
        self._lost = 0

    @property
    def where(self) -> str:
        """Of the key that is wanted."""
        return key_told(self.guide)

    def hear(self, samples: FloatArray, lost: int = 0) -> list[Event]:
        """Feed the next (n,) samples."""
        self._lost += lost
        clips = self.trigger.feed(samples, lost)
        return [] if self.paused else [event for clip in clips for event in self._clip(clip)]

    def _clip(self, clip: Clip) -> list[Event]:
        if self.guide.station is None:
            return []
        wanted = self.guide.station if self.wanted else None
        judged = judge_note(clip, wanted, self.pitch, self.settings, contact=self.contact)
        heard = judged.note.key if judged.note else None
        same = self._again == (wanted, heard, judged.refused)
        self._again = (wanted, heard, judged.refused) if judged.refused else None
        if judged.refused is None:
            return self._accept(judged, wanted or heard or "", "")
        if (name := wanted or heard) and same and judged.refused in AS_HEARD:
            self._again = None
            return self._accept(judged, name, " It was heard so again and is kept as it is; the reading tells what it hears.")  # fmt: skip
        wish = f" Play {wanted}." if judged.refused == "another key" else ""
        return [Event("refused", judged.words + wish, judged.refused)]

    @property
    def pitch(self) -> float | None:
        """Of the piano so far, in cents; None: too few notes."""
        return float(np.median([*self._cents.values()])) if len(self._cents) >= LEAST_FOR_PITCH else None

    def _accept(self, judged: JudgedNote, station: str, remark: str) -> list[Event]:
        if judged.note is None:
            return []
        name = name_of(station, 0, None)
        new = TakenStrike(station, None, KeptFile("", 0, name), judged.note.level_db, None, self._lost)
        taken = self._strikes.take(self.id, new, judged.content, name)
        self._lost = 0
        self._keys.append(taken.key or "")
        if judged.note.cents is not None and not remark:
            self._cents[self._keys[-1]] = judged.note.cents
        return [Event("accepted", f"{station}: kept.{remark}{self._waits}{self._moved(station)}"), *self._next()]

    @property
    def _waits(self) -> str:
        return f" {self._strikes.trouble}" if self._strikes.trouble else ""

    def _moved(self, station: str) -> str:
        """The guide goes on; what is next, in words."""
        if isinstance(self.guide, AnyKeys):
            self.guide.taken.append(station)
            return ""
        self.guide.accept()
        return f" Next: {self.guide.station}, {self.where}." if self.guide.station else ""

    def _next(self) -> list[Event]:
        if isinstance(self.guide, AnyKeys):
            return []
        if self.guide.station is None:
            return [Event("complete", "All keys are played.")]
        return [Event("moved", f"Next: {self.guide.station}.")]

    def key(self, action: Action) -> list[Event]:
        """What a key of the computer asks for."""
        self._again = None
        if action == "undo":
            return [Event("undone", self._undone())]
        if isinstance(self.guide, AnyKeys):
            return [Event("moved", "Any key will do: there is none to skip, to go back to or to begin anew.")]
        if action == "repeat":
            return self._repeat(self.guide)
        self.guide.skip() if action == "skip" else self.guide.back()
        here = self.guide.station
        return [Event("moved", f"Now: {here}, {self.where}.") if here else Event("complete", "No key is left.")]

    def _undone(self) -> str:
        if not self._keys:
            return "There is nothing to take back."
        station = self.guide.taken[-1]
        self._take_back(self._keys.pop())
        self.guide.undo()
        return f"Taken back: {station if isinstance(station, str) else station[0]}."

    def _take_back(self, key: str) -> None:
        self._strikes.undo(self.id, key)
        self._cents.pop(key, None)

    def _repeat(self, guide: KeyGuide) -> list[Event]:
        gone = guide.repeat()
        for key in [self._keys[i] for i in gone]:
            self._take_back(key)
        self._keys = [key for i, key in enumerate(self._keys) if i not in gone]
        return [Event("undone", f"{guide.station}: play it anew.")]
