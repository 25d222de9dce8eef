"""A Ctrl-C at each step of some work in turn.

stopped_at_every_step(work, look)    `look(step)` after each stop; how many steps there were
"""

import sys
from collections.abc import Callable
from inspect import CO_GENERATOR
from types import FrameType
from typing import Any


def stopped_at_every_step(work: Callable[[], object], look: Callable[[int], None]) -> int:
    """A step is where Python hears a signal: as a function begins, and after a call of what is compiled."""
    work()  # what is done the first time only comes before
    look(-1)
    step = 0
    while _stopped(work, step):
        look(step)
        step += 1
    return step


def _stopped(work: Callable[[], object], step: int) -> bool:
    left = step

    def watch(frame: FrameType, event: str, _: Any) -> None:
        nonlocal left
        begins = event == "call" and not frame.f_code.co_flags & CO_GENERATOR
        left -= begins or event == "c_return"
        if left < 0:
            sys.setprofile(None)
            raise KeyboardInterrupt

    before = sys.getprofile()
    try:
        sys.setprofile(watch)
        work()
    except KeyboardInterrupt:
        pass
    finally:
        sys.setprofile(before)
    return left < 0  # Python drops some
