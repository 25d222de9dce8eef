"""A scan recorded at the plate: sound in, strikes safe in the register, the guide moved on. Knows neither device nor screen.

    begin_recording(register, plate, facts, layout, order)   Unfinished: a new scan, or one found again, is what a Recorder works on
    Recorder.hear(block, lost)                               events that the sound led to
    Recorder.key(action)                                     events that a key led to
    places_ahead(unfinished, settings, workers)              places listened to by others while the next is tapped; for Recorder and finish

How it goes on and ends stands in workflow/taken.py, keys that are played in workflow/record_notes.py.
An accepted strike is on the disk and in the register before its event is returned, so that whatever was shown is safe; of a register on a server it is on
this bench's disk and on its way (register/outbox.py). Two quick
knocks take the last strike back. Only strikes are kept, not the talk between them; what was refused is not kept.
"""

from collections.abc import Sequence
from contextlib import suppress
from typing import Literal

from msgspec import Struct

from tapscan.errors import BadRequest, RegisterProblem
from tapscan.faults import fault
from tapscan.layouts import layout_from_text, layout_text
from tapscan.recording.trigger import Clip, Trigger
from tapscan.records import FloatArray, Force
from tapscan.register.database import Register
from tapscan.register.entries import KeptFile, NewScan
from tapscan.register.outbox import strikes_of
from tapscan.register.recording_entries import TakenStrike, Unfinished
from tapscan.register.unfinished import begin, name_of
from tapscan.settings import Settings
from tapscan.signal.plate.station_analysis import Wanted
from tapscan.workers import Workers
from tapscan.workflow.ahead import PlacesAhead
from tapscan.workflow.bar import BAR_TURNS
from tapscan.workflow.judging import Judged, judge
from tapscan.workflow.left_alone import ALLOWED, may_be_tapped
from tapscan.workflow.taken import guide_of, unfinished_layout

What = Literal["accepted", "refused", "undone", "moved", "complete"]
Action = Literal["undo", "skip", "back", "repeat"]
ALIKE_FORCE_DB = 3.0
USUAL_LAYOUT, USUAL_ORDER = "grand-short", "soft,hard,hard"  # where neither was typed nor kept as the shop's default


class Event(Struct, frozen=True):
    """Something to show and to beep. `words` is a sentence for the person at the plate."""

    what: What
    words: str
    reason: str | None = None  # code of a fault


class Recorder:
    """See the module."""

    def __init__(
        self,
        register: Register,
        unfinished: Unfinished,
        sample_rate_hz: int,
        settings: Settings,
        ahead: PlacesAhead | None = None,
    ) -> None:
        self.register, self.id, self.settings = register, unfinished.id, settings
        self.layout = unfinished_layout(unfinished)
        kept = unfinished.kept
        self.guide = guide_of(unfinished)
        self._strikes = strikes_of(register)
        self._keys = [_key(s) for s in kept if s.force is not None]
        self._levels = {_key(s): s.level_db for s in kept}
        self._taken = {_key(s): s for s in kept}  # in the order taken
        self.ahead = ahead
        for station in self.guide.stations:
            self._listen_ahead(station)
        self.trigger = Trigger(sample_rate_hz, settings)
        self.paused = False
        self._knocks: list[Judged] = []  # the last clear knock, and those that followed it at once
        self._first_counts = False  # the first of them was accepted as a strike
        self._lost = 0

    def hear(self, samples: FloatArray, lost: int = 0) -> list[Event]:
        """Feed the next (n,) samples."""
        self._lost += lost
        clips = self.trigger.feed(samples, lost)
        if self.paused:
            return []
        events = [event for clip in clips for event in self._clip(clip)]
        return events + self._after_knocks()

    def _clip(self, clip: Clip) -> list[Event]:
        judged = judge(clip, self.settings)
        if self._knocks and self._follows(judged):
            self._knocks.append(judged)
            return []
        events = self._knocks_end()
        self._knocks = [judged] if _clear(judged) else []
        self._first_counts = False
        if judged.refused is None:
            self._first_counts = self.guide.station is not None
            return events + self._accept(judged)
        if (
            clip.next_s is not None
            and self.settings.recorder.undo_shortest_s <= clip.next_s <= self.settings.recorder.undo_longest_s
        ):
            return events  # perhaps the first of two knocks: the next clip tells
        return [*events, Event("refused", fault(judged.refused).sentence, judged.refused)]

    def _follows(self, later: Judged) -> bool:
        """Whether it comes as soon after the last knock as the second of two, and is as clear and about as strong."""
        s, last = self.settings, self._knocks[-1]
        apart = later.clip.at_s - last.clip.at_s
        alike = abs(_level_db(last) - _level_db(later)) <= s.recorder.undo_alike_db
        return s.recorder.undo_shortest_s <= apart <= s.recorder.undo_longest_s and alike and _clear(later)

    def _after_knocks(self) -> list[Event]:
        """Two knocks mean something only when nothing follows them."""
        if len(self._knocks) < 2:
            return []
        limit = self._knocks[-1].clip.at_s + self.settings.recorder.undo_longest_s
        since = self.trigger.sounding_since_s
        waiting = self.trigger.clock_s < limit or (since is not None and since <= limit)
        return [] if waiting else self._knocks_end()

    def _knocks_end(self) -> list[Event]:
        """Two: take back the last strike, and the first knock where it was taken for one. More: nothing but a word."""
        knocks, self._knocks = self._knocks, []
        if len(knocks) < 2:
            return []
        if len(knocks) > 2:
            return [Event("refused", fault("crowded").sentence, "crowded")]
        if self._first_counts:
            self._undo()
        return self.key("undo")

    def _accept(self, judged: Judged) -> list[Event]:
        station, force = self.guide.station, self.guide.force
        if station is None or force is None or judged.strike is None:
            return []
        strike = judged.strike
        name = name_of(station, 0, force)
        new = TakenStrike(station, force, KeptFile("", 0, name), strike.level_db, strike.snr_db, self._lost)
        taken = self._strikes.take(self.id, new, judged.content, name)
        self._lost, key = 0, _key(taken)
        self._keys.append(key)
        self._levels[key] = strike.level_db
        self._taken[key] = taken
        remark = self._too_alike(station, force, strike.level_db)
        complete = self.guide.accept()
        self._listen_ahead(station)
        waits = f" {self._strikes.trouble}" if self._strikes.trouble else ""
        events = [Event("accepted", f"{station}: taken.{remark}{waits}")]
        if complete:
            done = self.guide.station is None
            events.append(
                Event("complete", "All stations are done.") if done else Event("moved", f"Next: {self.guide.station}.")
            )
        return events

    def _listen_ahead(self, station: str) -> None:
        """Once a place has all its taps; the bar is none."""
        if self.ahead is None or station in BAR_TURNS or self.guide.missing(station):
            return
        mine = [t for key, t in self._taken.items() if t.station == station and key in self._keys]
        with suppress(RegisterProblem):  # not in reach just now: `finish` listens to it, or says what is wrong
            self.ahead.place(station, [(self._strikes.path_of(t.file.sha256), t.force) for t in mine])

    def _too_alike(self, station: str, force: Force, level_db: float) -> str:
        """A word where soft and hard at one station hardly differ; the strike counts all the same. A bar sounds alike either way."""
        if station in BAR_TURNS:
            return ""
        before = [
            self._levels[key]
            for (where, other), key in zip(self.guide.taken, self._keys, strict=False)
            if where == station and other != force
        ]
        if not before:
            return ""
        louder = level_db - max(before) if force == "hard" else min(before) - level_db
        return "" if louder > ALIKE_FORCE_DB else " Soft and hard were nearly alike: let them differ more."

    def key(self, action: Action) -> list[Event]:
        """What a key, or two knocks, ask for."""
        if action == "undo":
            station = self._undo()
            words = f"Taken back: the last tap at {station}." if station else "There is nothing to take back."
            return [Event("undone", words)]
        if action == "repeat":
            return self._repeat()
        self.guide.skip() if action == "skip" else self.guide.back()
        here = self.guide.station
        return [Event("moved", f"Now: {here}.") if here else Event("complete", "No station is left.")]

    def _undo(self) -> str | None:
        if not self._keys:
            return None
        self._strikes.undo(self.id, self._keys.pop())
        self.guide.undo()
        return self.guide.station

    def _repeat(self) -> list[Event]:
        gone = self.guide.repeat()
        for key in [self._keys[i] for i in gone]:
            self._strikes.undo(self.id, key)
        self._keys = [key for i, key in enumerate(self._keys) if i not in gone]
        return [Event("undone", f"{self.guide.station}: begin anew.")]


def _key(strike: TakenStrike) -> str:
    """One that was stored has one (older ones were given theirs)."""
    if strike.key is None:
        raise ValueError("a tap without a key")
    return strike.key


def _clear(judged: Judged) -> bool:
    return (
        judged.strike is not None and not {"not a tap", "weak"} & set(judged.strike.faults) and judged.refused != "thud"
    )


def _level_db(judged: Judged) -> float:
    return judged.strike.level_db if judged.strike else -200.0


def begin_recording(
    register: Register,
    plate: str,
    facts: NewScan,
    layout: str,
    order: Sequence[Force],
    bar: str | None = None,
    allowed_by: str | None = None,
) -> Unfinished:
    """A new scan; `layout` is a name or a TOML file, `bar` the reference bar to strike first and last. Raises UnknownName, BadLayout, BadRequest.

    allowed_by : the qualified person who has allowed it, where the plate is to be left as it is
    """
    leave = may_be_tapped(register, plate, facts, allowed_by)
    text = layout_text(layout)
    if bar and any(s.name in BAR_TURNS for s in layout_from_text(text, layout).stations):
        raise BadRequest(
            f"{layout} has a place called {' or '.join(BAR_TURNS)}, which is what the bar's taps are called; rename it"
        )
    if not layout_from_text(text, layout).allowed(facts.conditions.state):
        raise BadRequest(f"no station of {layout} may be tapped in this state; choose another layout")
    plan = {"layout": text, "order": list(order), **({"bar": bar} if bar else {})}
    return begin(register, plate, leave.facts, {**plan, ALLOWED: leave.open} if leave.open else plan)


def places_ahead(unfinished: Unfinished, settings: Settings, workers: Workers) -> PlacesAhead:
    """For a Recorder: what `finish` will ask of each place."""
    contact = unfinished.facts.conditions.sensor.contact
    return PlacesAhead(Wanted(settings, pictures=True, rough=True, contact=contact), workers)
