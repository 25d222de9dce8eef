"""Work shared between this process and others, with the same answers whatever their count.

    Workers(jobs, ...)          jobs: how many processes work at once, this one counted; 1 starts none
        .start()                begin the others: worth it where there is work for seconds; without it all is done here
        .map(job, items)        the job's answers in the items' order; this process takes its share
        .each(job, items)       the same one by one
        .begun(job, items)      the same, begun by the others at once: this process does something else before it asks for the answers
        .later(step)                a step, such as an import, that this process takes once the others have work
        .told_by_each(job, item)    what each of the others answers for itself
        .submit(job, item)      a job for another process alone; None where there is none
        .end()                  what leaving the `with` block does
    ALONE                       this process only
    cores()                     how many processors this process may use
    counted(jobs)               how many processes work at once where so many were asked for

A job is a function of a module and its item can be pickled: processes are spawned on every system (early.py has the one exception). What a job gives depends on its
item alone, so it does not matter who does it: a process that dies loses nothing, its work is done again here. Other processes end with
this one however it ends; an interrupt from the keyboard is left to this process (other_process.py). (A pool of the standard library may wait for ever for an
answer that was half written when its process was ended, since all share one pipe; here each has its own.)
"""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from queue import Empty, SimpleQueue
from threading import Thread
from types import TracebackType
from typing import Any, TypeVar

from tapscan.workers.early import taken, waiting
from tapscan.workers.other_process import IN_PIPE, NONE_BEGAN, Gone, Other, Sent, interrupts_wait

__all__ = ["ALONE", "MOST", "Gone", "Progress", "Sent", "Workers", "cores", "counted", "quiet"]

Item = TypeVar("Item")
Answer = TypeVar("Answer")
Progress = Callable[[str, int, int], None]
MOST = 8  # more processes share too little to be worth their memory
QUEUED = 4  # items a process: those that are in its pipe, and those that this process may still take back
GONE = "another process of tapscan could not work ({}); its share was done by this one, so it took longer"


def cores() -> int:
    """How many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def counted(jobs: int | None) -> int:
    """None: as many as there are cores, and no more than MOST."""
    return min(cores(), MOST) if jobs is None else max(1, jobs)


def quiet(stage: str, done: int, total: int) -> None:
    """Progress that nobody watches."""


class Workers:
    """See the module. Use it in a `with` block.

    jobs     : processes that work at once, this one counted; None: see counted().
    preload  : modules that the others import while they wait for work.
    progress : told (stage, done, total) as work gets done.
    low      : the others give way to whatever else wants the processor.
    """

    def __init__(
        self, jobs: int | None = 1, preload: Sequence[str] = (), progress: Progress = quiet, *, low: bool = False
    ) -> None:
        self.others = counted(jobs) - 1
        self.progress = progress
        self._later: list[Callable[[], object]] = []
        self._preload, self._low = tuple(preload), low
        self._processes: list[Other] = []
        self._sent: SimpleQueue[Sent[Any] | None] = SimpleQueue()

    def __enter__(self) -> Workers:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.end()

    def start(self) -> bool:
        """Begin the others, or take over those that began early. Whether there are any to share with."""
        if self.others and not self._processes:
            try:
                self._begin()
            except NONE_BEGAN as problem:
                self._lost(problem)
            except BaseException:
                self.end()
                raise
        return bool(self._processes)

    def later(self, step: Callable[[], object]) -> None:
        """Such as an import. Nothing where there are no others: whoever needs it takes it then."""
        if self.others:
            self._later.append(step)

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
        out: dict[int, Sent[Answer]] = {}
        left: list[tuple[int, Item]] = []
        heard: SimpleQueue[None] = SimpleQueue()
        for number, item in enumerate(items):
            if self.awake and (sent := self.submit(job, item, heard)):
                out[number] = sent
            else:
                left.append((number, item))
        return self._answers(job, out, iter(left), heard=heard)

    def _answers(
        self,
        job: Callable[[Item], Answer],
        out: dict[int, Sent[Answer]],
        waiting: Iterator[tuple[int, Item]],
        told: Callable[[int], None] | None = None,
        heard: SimpleQueue[None] | None = None,
    ) -> Iterator[Answer]:
        """`out` : what others have already; `heard` is told of each."""
        heard = SimpleQueue() if heard is None else heard
        answers: dict[int, Answer] = {}
        again: list[tuple[int, Item]] = []  # lost with the process that had them
        given = said = 0
        while True:
            while self.awake and len(out) < QUEUED * self.others and (one := _next(again, waiting)):
                if sent := self.submit(job, one[1], heard):
                    out[one[0]] = sent
                else:
                    again.append(one)
            if out and self._later:
                self._later.pop(0)()
            elif (one := _next(again, waiting)) or (one := _not_begun(out)):
                answers[one[0]] = job(one[1])
            elif out:
                heard.get()  # of one of these, or of one that was taken in before
            else:
                return
            again += self._collect(out, answers)
            if told and given + len(answers) > said:
                told(said := given + len(answers))
            while given in answers:
                yield answers.pop(given)
                given += 1

    @property
    def awake(self) -> bool:
        """Whether another has begun and is ready: until then this process does not wait for any."""
        return any(one.awake for one in self._processes)

    def submit(
        self, job: Callable[[Item], Answer], item: Item, told: SimpleQueue[None] | None = None
    ) -> Sent[Answer] | None:
        """None where no other process can do it. The answer is Gone where its process ended. told : gets something when it is done."""
        if not self._processes:
            return None
        sent = Sent(job, item, told or SimpleQueue())
        self._sent.put(sent)
        return sent

    def told_by_each(self, job: Callable[[Item], Answer], item: Item) -> list[Answer]:
        """Of those that have begun. This process takes a step meanwhile that it needs later."""
        asked = [(one, Sent[Answer](job, item, SimpleQueue())) for one in self._processes if one.awake]
        for one, sent in asked:
            Thread(target=sent.do, args=(one.ask,), daemon=True).start()
        if asked and self._later:
            self._later.pop(0)()
        answers: list[Answer] = []
        for _, sent in asked:
            with suppress(Gone):  # found by whoever hands it work
                answers.append(sent.result())
        return answers

    def _collect(self, out: dict[int, Sent[Answer]], answers: dict[int, Answer]) -> list[tuple[int, Item]]:
        """Take what is finished; what was lost with its process is given back."""
        lost: list[tuple[int, Any]] = []
        for number in [n for n, sent in out.items() if sent.done()]:
            sent = out.pop(number)
            try:
                answers[number] = sent.result()
            except Gone as problem:
                lost.append((number, sent.item))
                self._lost(problem)
        return lost

    def _begin(self) -> None:
        with interrupts_wait(spawned=self._low or waiting(self._preload) < self.others):
            for _ in range(self.others):
                early = None if self._low else taken(self._preload)
                other = early or Other(self._preload, low=self._low)
                self._processes.append(other)
                other.serve(self._sent)

    def _lost(self, problem: BaseException) -> None:
        """Go on alone; the answers are the same."""
        if self.others:
            warnings.warn(GONE.format(str(problem) or type(problem).__name__), stacklevel=2)
        self.others = 0
        self.end()

    def end(self) -> None:
        """At once, whatever the others are doing. Who waits for an answer of theirs is told Gone."""
        processes, self._processes = self._processes, []
        for other in processes:
            other.process.kill()
        for _ in range(IN_PIPE * len(processes)):
            self._sent.put(None)
        for other in processes:
            other.process.join()
            for thread in other.threads:
                thread.join()
        with suppress(Empty):  # what nobody had begun
            while True:
                if (sent := self._sent.get_nowait()) and sent.take():
                    sent.do(_gone)


ALONE = Workers(1)


def _gone(job: Callable[[Any], Any], item: Any) -> Any:
    raise Gone("it ended")


def _next(again: list[tuple[int, Item]], waiting: Iterator[tuple[int, Item]]) -> tuple[int, Item] | None:
    return again.pop() if again else next(waiting, None)


def _not_begun(out: dict[int, Sent[Answer]]) -> tuple[int, Any] | None:
    """An item that still waits for its process, taken back."""
    number = next((n for n, sent in out.items() if sent.take()), None)
    return None if number is None else (number, out.pop(number).item)
