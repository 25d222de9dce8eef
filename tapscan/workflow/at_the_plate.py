"""The recorder at work: sound and wishes in turn, and what is to be shown. Knows neither keys nor screen.

    Session(recorder, beeper, input).run(asked, show)   until all is tapped or the person stops
        asked()      what the person asked for since the last call: words of WISHES
        show(view)   ten times a second
    View                                                everything shown, plain values
    barred_of(layout, stations)                         places of it that nobody is led to
    level_words(view)                                   how loud it is, in words

A device that goes is waited for and opened again; what was accepted before is safe.
"""

import time
from collections.abc import Callable, Iterable
from typing import Any, Literal, get_args

from msgspec import Struct

from tapscan.errors import MicrophoneTrouble
from tapscan.places import Layout
from tapscan.recording.microphone import Beeper, Microphone, look_again
from tapscan.workflow.ahead import PlacesAhead
from tapscan.workflow.bar import WHERE
from tapscan.workflow.guide import AnyKeys
from tapscan.workflow.record import Event, Recorder
from tapscan.workflow.record_notes import NoteRecorder

Wish = Literal["undo", "repeat", "skip", "back", "pause", "stop"]
WISHES: tuple[Wish, ...] = get_args(Wish)
HANDS = "Two quick knocks take the last tap back."
SHORT_FIRM = "short, firm"  # how a key is played
HANDS_AT_KEYS = "Hold each key a third to half a second, let go, wait for READY. No pedal."
TONES: dict[str, list[tuple[float, float]]] = {
    "accepted": [(880.0, 0.06)],
    "refused": [(220.0, 0.18)],
    "undone": [(440.0, 0.08), (330.0, 0.08)],
    "moved": [(660.0, 0.06), (990.0, 0.08)],
    "complete": [(660.0, 0.08), (880.0, 0.08), (1320.0, 0.16)],
}
TAIL_S = 0.25  # the room, and the way through the sound system
SILENT_S, ZERO_S, AGAIN_S = 1.5, 1.5, 1.0
FRAME_S = 0.1
SILENT = "The microphone gives no sound. Is its plug in? Waiting for it; nothing is lost."
ZEROS = "The input delivers silence: is the microphone switched on, and the right input chosen?"
NOT_YET = -200.0  # the level before anything came
FULL_DB, LOUD_DB, OVER_NOISE_DB = -3.0, -12.0, 6.0  # words only: common practice, no source


class View(Struct, frozen=True):
    """`tone` is good, bad or plain; `trouble` stands over everything."""

    station: str | None
    where: str
    force: str | None
    counts: str
    done: int
    stations: int
    said: str
    tone: str
    level_db: float
    floor_db: float | None
    waiting: str
    trouble: str | None
    layout: Layout | None  # None: keys are played
    taken: frozenset[str]
    paused: bool = False
    any_key: bool = False  # no key was named, so none is missing
    barred: frozenset[str] = frozenset()  # places of the layout that must not be struck in this state

    @property
    def how(self) -> str:
        """To tap, or to play."""
        return (self.force or "") if self.layout else SHORT_FIRM if self.station else ""

    @property
    def done_of(self) -> str:
        """What `done` counts."""
        if self.layout:
            return f"of {self.stations} places done"
        return "played" if self.any_key else f"of {self.stations} keys played"

    @property
    def hands(self) -> str:
        """What the hands do."""
        return HANDS if self.layout else HANDS_AT_KEYS


class Session:
    """See the module. `input_` : device, rate in Hz, channel from 0."""

    def __init__(self, recorder: Recorder | NoteRecorder, beeper: Beeper, input_: tuple[str | None, int, int]) -> None:
        self.recorder, self.beeper, self.input = recorder, beeper, input_
        self.said, self.tone = self._begin, "plain"
        self.trouble: str | None = None
        self.stopped = False
        self.zeros_s = 0.0
        self.microphone: Microphone | None = None

    def run(self, asked: Callable[[], Iterable[Wish]], show: Callable[[View], None]) -> None:
        """Opens the device again whenever it has gone."""
        while not self.over:
            try:
                with Microphone(*self.input) as microphone:
                    self._listen(microphone, asked, show)
            except MicrophoneTrouble as problem:
                self._wait(f"{problem}. Waiting for it; nothing is lost.", asked, show)
                look_again()

    @property
    def ahead(self) -> PlacesAhead | None:
        """What listens to places that are done."""
        return self.recorder.ahead if isinstance(self.recorder, Recorder) else None

    @property
    def _begin(self) -> str:
        if isinstance(self.recorder, Recorder):
            return "Tap when you are ready."
        return f"Begin when you see READY: {self.recorder.guide.station}, {self.recorder.where}."

    @property
    def over(self) -> bool:
        """All done, or stopped by the person."""
        return self.stopped or self.recorder.guide.station is None

    def _listen(
        self, microphone: Microphone, asked: Callable[[], Iterable[Wish]], show: Callable[[View], None]
    ) -> None:
        """Until it is over, or the device gives nothing any more."""
        self.microphone = microphone
        last_sound = last_frame = time.monotonic()
        while not self.over:
            block = microphone.read(0.05)
            now = time.monotonic()
            if block is not None:
                last_sound = now
                self._heard(block.samples, block.lost)
            elif now - last_sound > SILENT_S:
                self.trouble = SILENT
                show(self.view())
                microphone.__exit__(None, None, None)
                time.sleep(AGAIN_S)
                look_again()
                return
            self._do(asked())
            if now - last_frame >= FRAME_S:
                last_frame = now
                show(self.view())

    def _wait(self, words: str, asked: Callable[[], Iterable[Wish]], show: Callable[[View], None]) -> None:
        self.trouble = words
        until = time.monotonic() + AGAIN_S
        while time.monotonic() < until and not self.stopped:
            self._do(asked())
            show(self.view())
            time.sleep(FRAME_S)

    def _heard(self, samples: Any, lost: int) -> None:
        silent = not samples.any()
        self.zeros_s = self.zeros_s + len(samples) / self.input[1] if silent else 0.0
        self.trouble = ZEROS if self.zeros_s > ZERO_S else None
        self._tell(self.recorder.hear(samples, lost))

    def _tell(self, events: list[Event]) -> None:
        """The last words stay on the screen; one beep for all that happened at once."""
        if not events:
            return
        words = [e.words for e in events if e.what != "moved"] or [events[-1].words]
        self.said = " ".join(words)
        self.tone = "bad" if events[-1].what == "refused" else "good" if events[0].what == "accepted" else "plain"
        began = time.monotonic()
        over_s = self.beeper.beep(TONES[events[-1].what])
        if self.beeper.trouble and self.beeper.on:
            self.beeper.on = False
            self.said += f" ({self.beeper.trouble})"
        if over_s and self.microphone is not None:  # it comes back as late as the sound is old that is read now
            least_s, most_s = self.microphone.age_s
            self.recorder.trigger.deaf_between(least_s - (time.monotonic() - began), most_s + over_s + TAIL_S)

    def _do(self, wishes: Iterable[Wish]) -> None:
        for wish in wishes:
            if wish == "stop":
                self.stopped = True
            elif wish == "pause":
                self.recorder.paused = not self.recorder.paused
                self.said, self.tone = ("Paused: p goes on." if self.recorder.paused else "Going on."), "plain"
            else:
                self._tell(self.recorder.key(wish))

    def view(self) -> View:
        """What is on the screen now."""
        guide, trigger = self.recorder.guide, self.recorder.trigger
        here = guide.station
        return View(
            here, self._where(here), guide.force, self._counts, guide.done, len(guide.stations), self.said, self.tone,
            trigger.level_db, trigger.floor_db, self._waiting(), self.trouble, self.recorder.layout,
            frozenset(s for s in guide.stations if not guide.missing(s)), self.recorder.paused, isinstance(guide, AnyKeys),
            barred_of(self.recorder.layout, guide.stations),
        )  # fmt: skip

    @property
    def _counts(self) -> str:
        """Of taps at this place; of keys where any will do: a key that is named is played once."""
        guide = self.recorder.guide
        return guide.told if isinstance(self.recorder, Recorder) or isinstance(guide, AnyKeys) else ""

    def _where(self, here: str | None) -> str:
        if isinstance(self.recorder, NoteRecorder):
            return self.recorder.where
        return next((s.where for s in self.recorder.layout.stations if s.name == here), WHERE.get(here or "", ""))

    def _waiting(self) -> str:
        trigger = self.recorder.trigger
        if self.recorder.paused:
            return "PAUSED"
        if trigger.floor_db is None:
            return "WAIT: listening to the room"
        if trigger.deaf:
            return "WAIT"
        if isinstance(self.recorder, NoteRecorder):
            return "LISTENING: let go and wait" if trigger.sounding_since_s is not None else "READY: play"
        return "RINGING: wait" if trigger.sounding_since_s is not None else "READY: tap"


def barred_of(layout: Layout | None, stations: Iterable[str]) -> frozenset[str]:
    """`stations` : those that are gone round."""
    return frozenset(s.name for s in layout.stations) - set(stations) if layout else frozenset()


def level_words(level_db: float, floor_db: float | None) -> str:
    """Of the last tenth of a second, beside the quiet."""
    if level_db <= NOT_YET:
        return "no sound comes in"
    if level_db > FULL_DB:
        return f"{level_db:.0f} dB: at full scale; turn the input down"
    if level_db > LOUD_DB:
        return f"{level_db:.0f} dB: loud"
    if floor_db is None:
        return f"{level_db:.0f} dB"
    quiet = level_db < floor_db + OVER_NOISE_DB
    return f"{level_db:.0f} dB: quiet" if quiet else f"{level_db:.0f} dB; the quiet lies at {floor_db:.0f} dB"
