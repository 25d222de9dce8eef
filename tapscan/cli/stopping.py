"""Ctrl-C ends the program wherever it comes.

stoppable()             context manager: a Ctrl-C that was lost comes again
begins_with_stop(...)   whether an error is one that a Ctrl-C was turned into
what_stands(...)        what is kept where one ended the program, in words

Python drops what is raised in some places, such as the locks of its own imports: a Ctrl-C that falls there is printed and forgotten. A clock of the
system, where there is one, then brings it again; on Windows a thread does.
"""

import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sys import UnraisableHookArgs

STATUS = 130  # the usual one of what a Ctrl-C has ended
STANDS = "what had been stored stays, and nothing is half written"
SOON_S = 0.02  # after one that was seen to be dropped
AGAIN_S = 3.0  # after any, while the program still runs


@contextmanager
def stoppable() -> Iterator[None]:
    """For the main thread; in others, and where Ctrl-C is turned off, nothing changes."""
    stop = signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or not callable(stop):
        yield
        return
    hook, clock = sys.unraisablehook, hasattr(signal, "setitimer")
    sys.unraisablehook = partial(_dropped, hook)
    signal.signal(signal.SIGINT, partial(_stop, stop))
    ring = signal.signal(signal.SIGALRM, partial(_stop, stop)) if clock else None
    try:
        yield
    finally:
        if clock:
            signal.setitimer(signal.ITIMER_REAL, 0)
            signal.signal(signal.SIGALRM, ring)
        signal.signal(signal.SIGINT, stop)
        sys.unraisablehook = hook


def begins_with_stop(problem: BaseException) -> bool:
    """Python turns a Ctrl-C in the midst of a class statement into an error of its own."""
    return any(isinstance(cause, KeyboardInterrupt) for cause in _causes(problem))


def what_stands(stop: BaseException) -> str:
    """As whoever was at work had noted it (errors.if_stopped), else what holds everywhere."""
    noted = (getattr(cause, "__notes__", ()) for cause in _causes(stop))
    return next((notes[-1] for notes in noted if notes), STANDS)


def _causes(problem: BaseException) -> Iterator[BaseException]:
    """Itself first; an exit that was made while another was told has that one behind it."""
    cause: BaseException | None = problem
    while cause is not None:
        yield cause
        cause = cause.__cause__ or (cause.__context__ if isinstance(cause, SystemExit) else None)


def _stop(stop: Callable[[int, Any], Any], number: int, frame: Any) -> None:
    _again_in(AGAIN_S)
    stop(number, frame)


def _dropped(hook: "Callable[[UnraisableHookArgs], Any]", told: "UnraisableHookArgs") -> None:
    if isinstance(told.exc_value, KeyboardInterrupt):
        _again_in(SOON_S)
    else:
        hook(told)


def _again_in(seconds: float) -> None:
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, seconds)
    elif seconds == SOON_S:
        from _thread import interrupt_main

        again = threading.Timer(seconds, interrupt_main)
        again.daemon = True
        again.start()
