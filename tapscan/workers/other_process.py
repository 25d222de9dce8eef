"""Another process that does jobs for this one.

    Sent                          a job on its way, and what came of it
    Other(preload, low, ahead)    the process, begun; in `interrupts_wait()`, so that it never hears Ctrl-C
        .serve(jobs)              take jobs from a queue as they come, until None comes
        .ask(job, item)           one job
    on_one_thread()               as OpenBLAS and its like are told before numpy is imported
    Gone                          it ended before it had answered
    NONE_BEGAN                    errors of a system that begins no other process

Each has a pipe of its own, whose other end is nowhere else, so that each notices when the other has gone. This side of it is served by threads. They share
no lock with the rest of the program: Ctrl-C may come between any two steps of it, and a lock that it left behind would hold up the end.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import partial
from importlib import import_module
from queue import SimpleQueue
from typing import TYPE_CHECKING, Any, Generic, NamedTuple, TypeVar, cast

from tapscan.workers.memory import keep_freed, seldom_looked
from tapscan.workers.packed import Shared, packed, unpacked

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

Item = TypeVar("Item")
Answer = TypeVar("Answer")
IN_PIPE = 2  # items a process: the one it works on, and the next, so that it never waits for this one
NONE_BEGAN = (OSError, ImportError, NotImplementedError)  # without semaphores, or full
LOWER_PRIORITY = 10  # of 19, as `nice` counts
THREADS = "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"


class Gone(Exception):
    """Another process ended before it had answered."""


class Sent(Generic[Answer]):
    """A job handed to another process. Every step is one call into C, so that Ctrl-C in between leaves no lock behind (a Future of the standard library may)."""

    def __init__(self, job: Callable[[Any], Answer], item: Any, told: SimpleQueue[None]) -> None:
        self.job, self.item = job, item
        self._told = told  # hears that it is done
        self._waits = [None]  # for the one who takes it
        self._answered = threading.Lock()
        self._answered.acquire()  # until it is done
        self._answer: tuple[bool, Any] | None = None

    def take(self) -> bool:
        """Whether nobody had begun it: then it is the caller's."""
        try:
            self._waits.pop()
        except IndexError:
            return False
        return True

    def done(self) -> bool:
        """Whether there is an answer, or a reason for none."""
        return self._answer is not None

    def result(self) -> Answer:
        """Waits. What the job raised is raised; Gone where its process ended."""
        with self._answered:
            assert self._answer is not None
        good, answer = self._answer
        if good:
            return cast(Answer, answer)
        raise answer

    def do(self, ask: Callable[[Callable[[Any], Answer], Any], Answer]) -> None:
        """Once, in a thread."""
        try:
            self._answer = True, ask(self.job, self.item)
        except BaseException as problem:
            self._answer = False, problem
        self._answered.release()
        self._told.put(None)


class Ahead(NamedTuple):
    """What a process does until it is asked for something: steps of a generator, named since this process has not imported it."""

    module: str
    name: str
    item: Any


class Other:
    """One process.

    preload : modules that it imports while it waits for work. low : it gives way to whatever else wants the processor.
    forked : it is a copy of this process, which must have a single thread.
    """

    def __init__(
        self, preload: Sequence[str], *, low: bool = False, ahead: Ahead | None = None, forked: bool = False
    ) -> None:
        import multiprocessing

        context: Any = multiprocessing.get_context("fork" if forked else "spawn")
        lower = LOWER_PRIORITY if low else 0
        self.pipe, theirs = context.Pipe()
        self.shared = Shared() if forked else None
        ours = self.pipe if forked else None
        self.process = context.Process(
            target=_serve, args=(theirs, ours, self.shared, preload, lower, ahead), daemon=True
        )
        self.process.start()
        theirs.close()
        self._sending, self._receiving = threading.Lock(), threading.Lock()
        self.awake, self.threads = forked, list[threading.Thread]()  # a copy has imported all it needs

    def serve(self, jobs: SimpleQueue[Sent[Any] | None]) -> None:
        """Begin to take jobs; None is the end."""
        for place in range(IN_PIPE):
            self.threads.append(threading.Thread(target=self._serve, args=(jobs, place), daemon=True))
            self.threads[-1].start()

    def _serve(self, jobs: SimpleQueue[Sent[Any] | None], place: int) -> None:
        """In a thread."""
        with suppress(Gone):
            self.ask(_nothing, None)
        self.awake = True
        while (sent := jobs.get()) is not None:
            if sent.take():
                sent.do(partial(self.ask, place=place))

    def ask(self, job: Callable[[Item], Answer], item: Item, place: int | None = None) -> Answer:
        """What the job raises there is raised here; Gone where the process ends before it has answered. place : see packed."""
        work = packed((job, item), self.shared, place)
        try:
            with self._sending:
                self.pipe.send_bytes(work)
                self._receiving.acquire()  # once all that was sent before is answered
            try:
                answered = self.pipe.recv_bytes()
            finally:
                self._receiving.release()
        except (EOFError, OSError) as problem:
            raise Gone(str(problem) or "it ended") from None
        (done, answer), _ = unpacked(answered, self.shared)
        if done:
            return cast(Answer, answer)
        raise answer


def _nothing(_: None) -> None:
    """So that the processes begin, and say so."""


@contextmanager
def interrupts_wait(*, spawned: bool = True) -> Iterator[None]:
    """Processes begun in here never see Ctrl-C, not even while they begin; this one sees it afterwards. Windows: see `_ready`."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    if spawned:
        from multiprocessing import resource_tracker

        resource_tracker.ensure_running()  # it lets interrupts through once it runs: not in the midst of the others
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


NOTHING = packed((_nothing, None))


def on_one_thread() -> None:
    """Before numpy is imported: small matrices, and one process a core."""
    for name in THREADS:
        os.environ[name] = "1"


def _serve(
    pipe: Connection,
    ours: Connection | None,
    shared: Shared | None,
    preload: Sequence[str],
    lower: int,
    ahead: Ahead | None,
) -> None:
    """All that another process does: work as it comes, until nobody is left who could ask. `ours` : the end of the pipe that a copy holds, too."""
    with suppress(ValueError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    if ours is not None:
        ours.close()
    on_one_thread()
    threading.Thread(target=_end_with_parent, daemon=True).start()
    _give_way(lower)
    seldom_looked()
    keep_freed()
    for name in preload:
        import_module(name)
    with suppress(EOFError, OSError):
        if ahead:
            _work_ahead(pipe, shared, ahead)
        while True:
            pipe.send_bytes(_answer(pipe.recv_bytes(), shared))


def _work_ahead(pipe: Connection, shared: Shared | None, ahead: Ahead) -> None:
    """That it has begun is told in between."""
    for _ in getattr(import_module(ahead.module), ahead.name)(ahead.item):
        while pipe.poll():
            work = pipe.recv_bytes()
            pipe.send_bytes(_answer(work, shared))
            if work != NOTHING:
                return


def _answer(work: bytes, shared: Shared | None) -> bytes:
    """With what the job raises, or the work itself where it cannot be read here."""
    try:
        (job, item), place = unpacked(work, shared)
        return packed((True, job(item)), shared, None if place is None else place + IN_PIPE)
    except Exception as problem:
        try:
            return packed((False, problem))
        except Exception:  # an error of a class that no other process knows
            return packed((False, RuntimeError(f"{type(problem).__name__}: {problem}")))


def _end_with_parent() -> None:
    """At once, in the middle of whatever is being worked on."""
    import multiprocessing

    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _give_way(lower: int) -> None:
    if not lower:
        return
    if sys.platform == "win32":
        import ctypes

        kernel, below_normal = ctypes.windll.kernel32, 0x4000
        kernel.SetPriorityClass(kernel.GetCurrentProcess(), below_normal)
    else:
        os.nice(lower)
