"""The sound input while the page uses it: one recording, or one listening to the room, at a time.

Recordings(jobs)
    .begin(number, plate, make)     Running; `make(workers)` gives the Session
    .listened(number)               what was listened to meanwhile, for the reading; given once
    .of(number)                     Running of this unfinished scan, or None
    .inputs()                       what can be chosen
    .quiet(input, settings)         sentences on the room, while nothing is recorded
    .close()                        what runs is stopped; all that was accepted is kept
Running                             a Session in a thread of its own: .wish(word), .channel, .newest

A recording goes on while its tab is closed or loaded anew, and ends by itself when nobody looks at it for some minutes.
"""

import time
import traceback
from collections.abc import AsyncIterable, AsyncIterator, Callable, Iterator
from contextlib import suppress
from queue import Empty, SimpleQueue
from threading import Lock, Thread, Timer
from typing import Any

import numpy as np

from tapscan.errors import BadRequest, TapscanError
from tapscan.page.events import Channel
from tapscan.page.works import own_error
from tapscan.records import FloatArray
from tapscan.settings import Settings
from tapscan.workers import Workers
from tapscan.workflow.ahead import PlacesAhead
from tapscan.workflow.at_the_plate import Session, View, Wish, level_words
from tapscan.workflow.mic import LISTEN_S, hear_quiet, quiet_words
from tapscan.workflow.sharing import recorder_work
from tapscan.workflow.typed_recording import Input, inputs

ALONE_S = 180.0  # without anybody looking
LOWEST_DB = -80.0  # where the bar begins
ENOUGH_S = 5.0  # for a thread to end
KEPT_S = 600.0  # processes that wait for a recording to be read
ALONE = "Stopped, since nobody looked at this page for some minutes. All that was accepted is kept."


def bar_share(level_db: float) -> float:
    """0..1 of the bar's length."""
    return round(min(1.0, max(0.0, 1 - level_db / LOWEST_DB)), 3)


def told(view: View) -> dict[str, Any]:
    """What the page puts on its screen."""
    return {
        "station": view.station or "DONE",
        "force": view.how,
        "where": view.where,
        "counts": view.counts,
        "done": view.done,
        "done_of": view.done_of,
        "said": view.trouble or view.said,
        "tone": "bad" if view.trouble else view.tone,
        "waiting": view.waiting,
        "ready": view.waiting.startswith("READY"),
        "level": bar_share(view.level_db),
        "level_words": level_words(view.level_db, view.floor_db),
        "pause": "Go on" if view.paused else "Pause",
        "map": f"{view.station} {' '.join(sorted(view.taken))}"
        if view.layout
        else "",  # the drawing is fetched anew when this differs
    }


class Running:
    """`problem` : why it ended, where that was nobody's wish."""

    def __init__(self, number: int, plate: str, session: Session) -> None:
        self.number, self.plate, self.session = number, plate, session
        self.channel, self.problem = Channel(), ""
        self.newest: View = session.view()
        self._wishes: SimpleQueue[Wish] = SimpleQueue()
        self._looking, self._seen = 0, time.monotonic()
        self._giving, self._ahead = Lock(), session.ahead
        self._thread = Thread(target=self._run, name=f"recording {number}", daemon=True)
        self._thread.start()

    @property
    def over(self) -> bool:
        """Whether the thread has ended."""
        return self.channel.ended

    def wish(self, word: Wish) -> None:
        """Done between two pieces of sound."""
        self.looked_at()
        self._wishes.put(word)

    def wait(self) -> bool:
        """Until it has ended; False where it does not in time."""
        self._thread.join(ENOUGH_S)
        return not self._thread.is_alive()

    def listened(self) -> PlacesAhead | None:
        """Given once: whoever gets it ends its workers."""
        with self._giving:
            ahead, self._ahead = self._ahead, None
        return ahead

    def forget(self) -> None:
        """Nobody will ask for what was listened to; a reading does without it."""
        if ahead := self.listened():
            ahead.workers.end()

    def looked_at(self) -> None:
        """Somebody is there."""
        self._seen = time.monotonic()

    async def watched(self, lines: AsyncIterable[Any]) -> AsyncIterator[Any]:
        """The same lines; as long as they are read, somebody looks."""
        self._looking += 1
        try:
            async for line in lines:
                yield line
        finally:
            self._looking -= 1
            self.looked_at()

    def _asked(self) -> Iterator[Wish]:
        with suppress(Empty):
            while True:
                yield self._wishes.get_nowait()
        if not self._looking and time.monotonic() - self._seen > ALONE_S:
            self.problem = ALONE
            yield "stop"

    def _show(self, view: View) -> None:
        self.newest = view
        self.channel.say(told(view))

    def _run(self) -> None:
        try:
            self.session.run(self._asked, self._show)
        except Exception as problem:
            if not isinstance(problem, TapscanError):
                traceback.print_exc()
            self.problem = str(problem) if isinstance(problem, TapscanError) else own_error(problem)
        self.newest = self.session.view()
        late = Timer(KEPT_S, self.forget)
        late.daemon = True
        late.start()
        self.channel.say({**told(self.newest), "over": True}, last=True)


class Recordings:
    """See the module."""

    def __init__(self, jobs: int | None = None) -> None:
        self.jobs = jobs  # processes that work at once; None: as many as there are cores
        self._lock = Lock()
        self._now: Running | None = None
        self.listening = Channel()  # level while nobody taps
        self.typed: dict[str, str] = {}  # the input that was used last

    @property
    def now(self) -> Running | None:
        """What is being recorded at this moment."""
        return self._now if self._now and not self._now.over else None

    def of(self, number: int) -> Running | None:
        """Also for a while after its end, for the words on why it ended."""
        return self._now if self._now and self._now.number == number else None

    def begin(self, number: int, plate: str, make: Callable[[Workers], Session]) -> Running:
        """The same one where two windows begin it. Raises BadRequest while another is recorded."""
        with self.held():
            now = self.now
            if now is None:
                now = self._begun(number, plate, make)
            elif now.number != number:
                raise BadRequest(self.busy(now))
            return now

    def _begun(self, number: int, plate: str, make: Callable[[Workers], Session]) -> Running:
        if self._now:
            self._now.forget()
        workers = recorder_work(self.jobs)
        try:
            self._now = Running(number, plate, make(workers))
        except BaseException:
            workers.end()
            raise
        return self._now

    def listened(self, number: int) -> PlacesAhead | None:
        """None where the program was started anew since, or too long ago."""
        running = self.of(number)
        return running.listened() if running and running.over else None

    def inputs(self, *, anew: bool) -> tuple[list[tuple[str, str]], str | None]:
        """To choose from; `anew` : with what was plugged in since. Nobody asks the sound system while something is recorded."""
        try:
            with self.held():
                found: tuple[list[tuple[str, str]], str | None] = ([], None) if self.now else inputs(anew=anew)
                return found if found[0] or anew or self.now else inputs(anew=True)
        except BadRequest as problem:
            return [], str(problem)

    def free(self) -> None:
        """Raises BadRequest while something is recorded."""
        if self.now:
            raise BadRequest(self.busy(self.now))

    def busy(self, now: Running) -> str:
        """What to do."""
        return f"{now.plate} is being recorded at this moment, and one input hears one plate: stop that recording first"

    def quiet(self, input_: Input, settings: Settings) -> list[str]:
        """Takes some seconds."""
        with self.held():
            self.free()
            quiet = hear_quiet(input_, LISTEN_S, self._level)
            return quiet_words(quiet, settings)

    def _level(self, samples: FloatArray) -> None:
        level_db = 10 * float(np.log10(np.mean(np.square(samples, dtype=float)) + 1e-20))
        self.listening.say({"level": bar_share(level_db), "level_words": level_words(level_db, None)})

    def close(self) -> None:
        """When the program ends."""
        if now := self.now:
            now.wish("stop")
            now.wait()
        if self._now:
            self._now.forget()

    def held(self) -> "_Held":
        """A `with` block in which nobody else opens the input."""
        return _Held(self._lock)


class _Held:
    """The input, or BadRequest where somebody has it."""

    def __init__(self, lock: Lock) -> None:
        self._lock = lock

    def __enter__(self) -> None:
        if not self._lock.acquire(timeout=2 * LISTEN_S):
            raise BadRequest("the sound input is in use in another window; try again in a moment")

    def __exit__(self, *_: object) -> None:
        self._lock.release()
