"""One root error and a few children; each is also the built-in kind a library user would catch.

Every message is one line: what is wrong (with which file), then what would mend it.
The command line translates these in one place and never shows a traceback.

if_stopped(words)   context manager: what stands where a Ctrl-C ends what is done in it; the command line says it
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager


class TapscanError(Exception):
    """Root of everything tapscan raises on purpose."""


class UnreadableRecording(TapscanError, OSError):
    """A file that cannot be read as sound at all."""


class BadLayout(TapscanError, ValueError):
    """A layout that is unknown or malformed."""


class BadSettings(TapscanError, ValueError):
    """A settings file that is malformed or names an unknown threshold."""


class BadRequest(TapscanError, ValueError):
    """A request that contradicts itself or the recordings it names."""


class WrongUsage(BadRequest):
    """What was typed cannot be read as what it should be, or contradicts itself; told before a recording or the register is looked at."""


class UnknownLayout(BadLayout, WrongUsage):
    """A layout's name that is none; a file that cannot be read is a BadLayout."""


class StillDoubted(BadRequest):
    """A scan of which nobody has made sure that it is this plate's, in this order; `scan` is its name."""

    def __init__(self, told: str, scan: str) -> None:
        super().__init__(told)
        self.scan = scan


class NothingToCompare(BadRequest):
    """A plate without a baseline, or without a scan beside it; `plate` is its name."""

    def __init__(self, told: str, plate: str) -> None:
        super().__init__(told)
        self.plate = plate


class RegisterProblem(TapscanError, OSError):
    """A register that is missing, damaged, too new, full or out of reach."""


class NotReached(RegisterProblem):
    """A register on a server, or its recordings, out of reach for now."""


class MayOnlyRead(RegisterProblem):
    """A register on a server that takes no changes from this account."""


class DamagedFile(RegisterProblem, UnreadableRecording):
    """A file of the register whose content is not what it was."""


class UnknownName(TapscanError, LookupError):
    """A plate or scan that the register does not hold, or a name that fits several."""


class MicrophoneTrouble(TapscanError, OSError):
    """A sound device that is missing, cannot be opened or has gone."""


class MissingExtra(TapscanError, ImportError):
    """A library that only some need, and that is not installed."""


@contextmanager
def if_stopped(words: Callable[[], str]) -> Iterator[None]:
    """Of several, one within the other, the outermost is said."""
    try:
        yield
    except BaseException as stop:  # at a question it is another one
        stop.add_note(words())
        raise
