"""Work shared between this process and others, with the same answers whatever their count.

    Workers(jobs, ...)          jobs: how many processes work at once, this one counted; 1 starts none
        .start()                begin the others: worth it where there is work for seconds; without it all is done here
        .map(job, items)        the job's answers in the items' order; this process takes its share
        .each(job, items)       the same one by one
        .begun(job, items)      the same, begun by the others at once: this process does something else before it asks for the answers
        .submit(job, item)      a job for another process alone; None where there is none
        .end()                  what leaving the `with` block does
    ALONE                       this process only
    cores()                     how many processors this process may use

A job is a function of a module and its item can be pickled: processes are spawned, not forked, on every system. What a job gives depends on its
item alone, so it does not matter who does it: a process that dies loses nothing, its work is done again here. Other processes end with
this one however it ends; an interrupt from the keyboard is left to this process. (A pool of the standard library may wait for ever for an answer that
was half written when its process was ended, since all share one pipe; here each has its own.)
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from importlib import import_module
from queue import SimpleQueue
from types import TracebackType
from typing import TYPE_CHECKING, Any, TypeVar, cast

if TYPE_CHECKING:
    from concurrent.futures import Future, ThreadPoolExecutor
    from multiprocessing.connection import Connection

Item = TypeVar("Item")
Answer = TypeVar("Answer")
Progress = Callable[[str, int, int], None]
MOST = 8  # more processes share too little to be worth their memory
IN_PIPE = 2  # items a process: the one it works on, and the next, so that it never waits for this one
QUEUED = 4  # with those that this process may still take back
LOWER_PRIORITY = 10  # of 19, as `nice` counts
GONE = "another process of tapscan could not work ({}); its share was done by this one, so it took longer"


def cores() -> int:
    """How many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def quiet(stage: str, done: int, total: int) -> None:
    """Progress that nobody watches."""


class Gone(Exception):
    """Another process ended before it had answered."""


class Workers:
    """See the module. Use it in a `with` block.

    jobs     : processes that work at once, this one counted; None: as many as there are cores, and no more than MOST.
    preload  : modules that the others import while they wait for work.
    progress : told (stage, done, total) as work gets done.
    low      : the others give way to whatever else wants the processor.
    """

    def __init__(
        self, jobs: int | None = 1, preload: Sequence[str] = (), progress: Progress = quiet, *, low: bool = False
    ) -> None:
        self.others = (min(cores(), MOST) if jobs is None else max(1, jobs)) - 1
        self.progress = progress
        self._preload, self._low = tuple(preload), low
        self._threads: ThreadPoolExecutor | None = None
        self._processes: list[_Other] = []
        self._free: SimpleQueue[_Other] = SimpleQueue()
        self._waking: list[Future[None]] = []

    def __enter__(self) -> Workers:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.end()

    def start(self) -> bool:
        """Begin the others. Whether there are any to share with."""
        if self.others and self._threads is None:
            try:
                self._begin()
            except (OSError, ImportError, NotImplementedError) as problem:  # a system without semaphores, or full
                self._lost(problem)
        return self._threads is not None

    def map(
        self, job: Callable[[Item], Answer], items: Iterable[Item], told: Callable[[int], None] | None = None
    ) -> list[Answer]:
        """`told` hears how many are done. What a job raises is raised here."""
        return list(self.each(job, items, told))

    def each(
        self, job: Callable[[Item], Answer], items: Iterable[Item], told: Callable[[int], None] | None = None
    ) -> Iterator[Answer]:
        """The answers in the items' order, as they come. Items are taken as they are needed; costly ones first keep the end even."""
        return self._answers(job, {}, enumerate(items), told)

    def begun(self, job: Callable[[Item], Answer], items: Iterable[Item]) -> Iterator[Answer]:
        """What the others have not begun when the answers are asked for is shared as usual. All items are held until then."""
        out: dict[int, tuple[Item, Future[Answer]]] = {}
        left: list[tuple[int, Item]] = []
        for number, item in enumerate(items):
            if self.awake and (sent := self.submit(job, item)):
                out[number] = item, sent
            else:
                left.append((number, item))
        return self._answers(job, out, iter(left))

    def _answers(
        self,
        job: Callable[[Item], Answer],
        out: dict[int, tuple[Item, Future[Answer]]],
        waiting: Iterator[tuple[int, Item]],
        told: Callable[[int], None] | None = None,
    ) -> Iterator[Answer]:
        """`out` : what others have already."""
        answers: dict[int, Answer] = {}
        again: list[tuple[int, Item]] = []  # lost with the process that had them
        given = 0
        while True:
            while self.awake and len(out) < QUEUED * self.others and (one := _next(again, waiting)):
                if sent := self.submit(job, one[1]):
                    out[one[0]] = one[1], sent
                else:
                    again.append(one)
            if (one := _next(again, waiting)) or (one := _not_begun(out)):
                answers[one[0]] = job(one[1])
            elif out:
                _wait([sent for _, sent in out.values()])
            else:
                return
            again += self._collect(out, answers)
            if told:
                told(given + len(answers))
            while given in answers:
                yield answers.pop(given)
                given += 1

    @property
    def awake(self) -> bool:
        """Whether another has begun and is ready: until then this process does not wait for any."""
        return self._threads is not None and any(one.done() for one in self._waking)

    def submit(self, job: Callable[[Item], Answer], item: Item) -> Future[Answer] | None:
        """None where no other process can do it. The answer is Gone where its process ended."""
        return None if self._threads is None else self._threads.submit(self._asked, job, item)

    def _asked(self, job: Callable[[Item], Answer], item: Item) -> Answer:
        """In a thread."""
        other = self._free.get()
        try:
            return other.ask(job, item)
        finally:
            self._free.put(other)

    def _collect(
        self, out: dict[int, tuple[Item, Future[Answer]]], answers: dict[int, Answer]
    ) -> list[tuple[int, Item]]:
        """Take what is finished; what was lost with its process is given back."""
        from concurrent.futures import CancelledError

        lost: list[tuple[int, Item]] = []
        for number in [n for n, (_, sent) in out.items() if sent.done()]:
            item, sent = out.pop(number)
            try:
                answers[number] = sent.result()
            except (Gone, CancelledError) as problem:
                lost.append((number, item))
                self._lost(problem)
        return lost

    def _begin(self) -> None:
        import multiprocessing
        from concurrent.futures import ThreadPoolExecutor

        context = multiprocessing.get_context("spawn")
        with _interrupts_wait():
            for _ in range(self.others):
                self._processes.append(_Other(context, self._preload, LOWER_PRIORITY if self._low else 0))
            for other in self._processes * IN_PIPE:
                self._free.put(other)
            self._threads = ThreadPoolExecutor(self.others * IN_PIPE)
            self._waking = [self._threads.submit(self._asked, _nothing, None) for _ in self._processes]

    def _lost(self, problem: BaseException) -> None:
        """Go on alone; the answers are the same."""
        if self.others:
            warnings.warn(GONE.format(str(problem) or type(problem).__name__), stacklevel=2)
        self.others = 0
        self.end()

    def end(self) -> None:
        """At once, whatever the others are doing."""
        threads, self._threads = self._threads, None
        while self._processes:
            self._processes.pop().end()
        if threads is not None:
            threads.shutdown(wait=True, cancel_futures=True)  # they have nothing left to wait for


class _Other:
    """Another process, and the pipe that leads to it: its other end is nowhere else, so that each notices when the other has gone."""

    def __init__(self, context: Any, preload: Sequence[str], lower: int) -> None:
        self.pipe, theirs = context.Pipe()
        self.process = context.Process(target=_serve, args=(theirs, preload, lower), daemon=True)
        self.process.start()
        theirs.close()
        self._sending, self._receiving = threading.Lock(), threading.Lock()

    def ask(self, job: Callable[[Item], Answer], item: Item) -> Answer:
        """What the job raises there is raised here; Gone where the process ends before it has answered."""
        work = pickle.dumps((job, item), pickle.HIGHEST_PROTOCOL)
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
        done, answer = pickle.loads(answered)
        if done:
            return cast(Answer, answer)
        raise answer

    def end(self) -> None:
        """Whoever waits for an answer is told Gone."""
        self.process.kill()
        self.process.join()


ALONE = Workers(1)


def _next(again: list[tuple[int, Item]], waiting: Iterator[tuple[int, Item]]) -> tuple[int, Item] | None:
    return again.pop() if again else next(waiting, None)


def _not_begun(out: dict[int, tuple[Item, Future[Answer]]]) -> tuple[int, Item] | None:
    """An item that still waits for its process, taken back."""
    number = next((n for n, (_, sent) in out.items() if sent.cancel()), None)
    return None if number is None else (number, out.pop(number)[0])


def _wait(sent: Sequence[Future[Any]]) -> None:
    from concurrent.futures import FIRST_COMPLETED, wait

    wait(sent, return_when=FIRST_COMPLETED)


def _nothing(_: None) -> None:
    """So that the processes begin, and say so."""


@contextmanager
def _interrupts_wait() -> Iterator[None]:
    """Processes begun in here never see Ctrl-C, not even while they begin; this one sees it afterwards. Windows: see `_ready`."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _serve(pipe: Connection, preload: Sequence[str], lower: int) -> None:
    """All that another process does: work as it comes, until nobody is left who could ask."""
    with suppress(ValueError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"):
        os.environ[name] = "1"  # before numpy: small matrices, and one process a core
    threading.Thread(target=_end_with_parent, daemon=True).start()
    _give_way(lower)
    for name in preload:
        import_module(name)
    with suppress(EOFError, OSError):
        while True:
            pipe.send_bytes(_answer(pipe.recv_bytes()))


def _answer(work: bytes) -> bytes:
    """With what the job raises, or the work itself where it cannot be read here."""
    try:
        job, item = pickle.loads(work)
        return pickle.dumps((True, job(item)), pickle.HIGHEST_PROTOCOL)
    except Exception as problem:
        return pickle.dumps((False, problem))


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
