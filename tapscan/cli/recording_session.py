"""The recorder at work: sound, keys and screen in turn.

Session(recorder, beeper, input).run(show)    until all is tapped or the person stops
shown()                                       a full screen in a terminal, else lines
"""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import typer

from tapscan.errors import MicrophoneTrouble

if TYPE_CHECKING:
    from tapscan.cli.plate_screen import View
    from tapscan.workflow.mic import Beeper, Microphone
    from tapscan.workflow.record import Event, Recorder

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


class Session:
    """Sound, keys and screen in turn, ten times a second and more."""

    def __init__(self, recorder: "Recorder", beeper: "Beeper", input_: tuple[str | None, int, int]) -> None:
        self.recorder, self.beeper, self.input = recorder, beeper, input_
        self.said, self.tone = "Tap when you are ready.", "plain"
        self.trouble: str | None = None
        self.stopped = False
        self.zeros_s = 0.0
        self.microphone: Microphone | None = None

    def run(self, show: Callable[["View"], None]) -> None:
        """Opens the device again whenever it has gone."""
        from tapscan.cli.keys import raw_keys
        from tapscan.workflow.mic import Microphone, look_again

        with raw_keys() as keys:
            while not self.over:
                try:
                    with Microphone(*self.input) as microphone:
                        self._listen(microphone, keys, show)
                except MicrophoneTrouble as problem:
                    self._wait(f"{problem}. Waiting for it; nothing is lost.", keys, show)
                    look_again()

    @property
    def over(self) -> bool:
        """All done, or stopped by the person."""
        return self.stopped or self.recorder.guide.station is None

    def _listen(self, microphone: "Microphone", keys: Callable[[], str], show: Callable[["View"], None]) -> None:
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
                self.trouble = "The microphone gives no sound. Is its plug in? Waiting for it; nothing is lost."
                show(self.view())
                from tapscan.workflow.mic import look_again

                microphone.__exit__(None, None, None)
                time.sleep(AGAIN_S)
                look_again()
                return
            self._keys(keys())
            if now - last_frame >= FRAME_S:
                last_frame = now
                show(self.view())

    def _wait(self, words: str, keys: Callable[[], str], show: Callable[["View"], None]) -> None:
        self.trouble = words
        until = time.monotonic() + AGAIN_S
        while time.monotonic() < until and not self.stopped:
            self._keys(keys())
            show(self.view())
            time.sleep(FRAME_S)

    def _heard(self, samples: Any, lost: int) -> None:
        silent = not samples.any()
        self.zeros_s = self.zeros_s + len(samples) / self.input[1] if silent else 0.0
        too_long = self.zeros_s > ZERO_S
        self.trouble = (
            "The input delivers silence: is the microphone switched on, and the right input chosen?"
            if too_long
            else None
        )
        self._tell(self.recorder.hear(samples, lost))

    def _tell(self, events: "list[Event]") -> None:
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

    def _keys(self, pressed: str) -> None:
        actions = {"u": "undo", "r": "repeat", "s": "skip", "b": "back"}
        for key in pressed.lower():
            if key in actions:
                self._tell(self.recorder.key(actions[key]))  # type: ignore[arg-type]
            elif key == "p":
                self.recorder.paused = not self.recorder.paused
                self.said, self.tone = ("Paused: p goes on." if self.recorder.paused else "Going on."), "plain"
            elif key in ("q", "\x1b"):
                self.stopped = True

    def view(self) -> "View":
        """What is on the screen now."""
        from tapscan.cli.plate_screen import View

        guide, trigger = self.recorder.guide, self.recorder.trigger
        here = guide.station
        where = next((s.where for s in self.recorder.layout.stations if s.name == here), "")
        counts = (
            ", ".join("{} of {} {}".format(*guide.count(here, f), f) for f in dict.fromkeys(guide.order))
            if here
            else ""
        )
        return View(
            here, where, guide.force, counts, guide.done, len(guide.stations), self.said, self.tone,
            trigger.level_db, trigger.floor_db, self._waiting(), self.trouble, self.recorder.layout,
            frozenset(s for s in guide.stations if not guide.missing(s)),
        )  # fmt: skip

    def _waiting(self) -> str:
        trigger = self.recorder.trigger
        if self.recorder.paused:
            return "PAUSED"
        if trigger.floor_db is None:
            return "WAIT: listening to the room"
        if trigger.deaf:
            return "WAIT"
        return "RINGING: wait" if trigger.sounding_since_s is not None else "READY: tap"


@contextmanager
def shown() -> "Iterator[Callable[[View], None]]":
    """Full screen in a terminal; else a line whenever something was said."""
    from rich.console import Console
    from rich.live import Live

    from tapscan.cli.plate_screen import screen

    console = Console()
    if not console.is_terminal:
        last: list[str] = []

        def line(view: "View") -> None:
            told = view.trouble or view.said
            if last != [told]:
                last[:] = [told]
                typer.echo(told)

        yield line
        return
    with Live(console=console, screen=True, auto_refresh=False) as live:
        yield lambda view: live.update(screen(view, console.width), refresh=True)
