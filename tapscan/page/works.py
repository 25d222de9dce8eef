"""What takes longer than a page may: done one at a time in a thread of its own, with its progress told.

    Works().begin(title, do, key)    Work; `do(progress)` gives the address of the page that shows the result
    Works().find(id)

Two windows that ask for the same thing (the same `key`) get the same work.
"""

import secrets
import traceback
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Lock

from msgspec import Struct, field

from tapscan.errors import TapscanError, UnknownName
from tapscan.page.events import Channel
from tapscan.workers import Progress

MOST_KEPT = 100
STAGES = {"reading": "Reading the recordings", "listening": "Listening to the taps, place by place"}


class Work(Struct, eq=False):
    """`leads_to` is set when it went well, `problem` when it did not."""

    id: str
    title: str
    key: str
    back: str  # where to go when it did not work
    channel: Channel = field(default_factory=Channel)
    leads_to: str | None = None
    problem: str | None = None

    @property
    def over(self) -> bool:
        """Whether it has ended, well or not."""
        return self.leads_to is not None or self.problem is not None


class Works:
    """All that was begun since the program started."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(
            max_workers=1, thread_name_prefix="work"
        )  # figures are not drawn by two threads
        self._lock, self._works = Lock(), dict[str, Work]()

    def begin(self, title: str, do: Callable[[Progress], str], key: str, back: str) -> Work:
        """`do` runs as soon as what was begun before it is done."""
        with self._lock:
            for work in self._works.values():
                if work.key == key and not work.over:
                    return work
            work = Work(secrets.token_hex(8), title, key, back)
            self._works[work.id] = work
            for old in [w for w in self._works.values() if w.over][:-MOST_KEPT]:
                del self._works[old.id]
        work.channel.say({"stage": "Waiting for what was begun before", "done": 0, "total": 0})
        self._pool.submit(self._run, work, do)
        return work

    def find(self, number: str) -> Work:
        """Raises UnknownName."""
        try:
            return self._works[number]
        except KeyError:
            raise UnknownName(
                "the program was started anew since; look at the plate's page for what is stored"
            ) from None

    def close(self) -> None:
        """What has not begun will not; what runs is left to end."""
        self._pool.shutdown(wait=False, cancel_futures=True)

    def _run(self, work: Work, do: Callable[[Progress], str]) -> None:
        def progress(stage: str, done: int, total: int) -> None:
            work.channel.say({"stage": STAGES.get(stage, stage), "done": done, "total": total})

        try:
            work.leads_to = do(progress)
            work.channel.say({"leads_to": work.leads_to}, last=True)
        except Exception as problem:
            if not isinstance(problem, TapscanError):
                traceback.print_exc()
            work.problem = str(problem) if isinstance(problem, TapscanError) else own_error(problem)
            work.channel.say({"problem": work.problem}, last=True)


def own_error(problem: BaseException) -> str:
    """One line for what is nobody's fault but the program's."""
    told = f"{type(problem).__name__}: {problem}".splitlines()[0]
    return f"an error of tapscan itself ({told}). Your recordings are as they were."
