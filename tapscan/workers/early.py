"""Other processes that begin before their work is known, so that they import while this process does, and go ahead with what they can guess.

On Linux they are copies of this process (fork) where it has a single thread: it first imports what they need and it needs itself, which is then imported once.
Elsewhere, and wherever else others begin, they are spawned: on a Mac a copy may not use the system's own linear algebra, and a copy of a process that runs
threads may find a lock held for ever.

begun_early(preload, ahead)   context manager, a process for each of `ahead`: whom nobody has taken by its end is ended, without a word
waiting(preload)              how many of them import just these modules
taken(preload)                one of these; None where there is none
"""

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from importlib import import_module
from pathlib import Path

from tapscan.workers.other_process import NONE_BEGAN, Ahead, Other, interrupts_wait, on_one_thread

OWN_THREADS = Path("/proc/self/task")  # Linux: those of libraries, too

_waiting: list[tuple[tuple[str, ...], Other]] = []


@contextmanager
def begun_early(preload: Sequence[str], ahead: Sequence[Ahead]) -> Iterator[None]:
    """Where none can begin nothing is said: Workers try again, and say it."""
    try:
        if ahead:
            forked = _imported_alone([*preload, *(one.module for one in ahead)])
            with suppress(*NONE_BEGAN), interrupts_wait(spawned=not forked):
                for one in ahead:
                    _waiting.append((tuple(preload), Other(preload, ahead=one, forked=forked)))
        yield
    finally:
        while _waiting:
            _, other = _waiting.pop()
            other.process.kill()
            other.process.join()


def _imported_alone(modules: Sequence[str]) -> bool:
    """Whether this process has imported them and may be copied."""
    if sys.platform != "linux" or not _alone():
        return False
    on_one_thread()
    for name in modules:
        import_module(name)
    return _alone()


def _alone() -> bool:
    try:
        return len(list(OWN_THREADS.iterdir())) == 1
    except OSError:
        return False


def waiting(preload: Sequence[str]) -> int:
    """Nobody has taken them yet."""
    return sum(modules == tuple(preload) for modules, _ in _waiting)


def taken(preload: Sequence[str]) -> Other | None:
    """It is the caller's to end."""
    found = next((k for k, (modules, _) in enumerate(_waiting) if modules == tuple(preload)), None)
    return None if found is None else _waiting.pop(found)[1]
