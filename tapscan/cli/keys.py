"""Single keys from the terminal, without waiting for Enter.

raw_keys()   context manager giving a function that returns the keys pressed since the last call, "" for none
"""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def raw_keys() -> Iterator[Callable[[], str]]:
    """Where standard input is no terminal there are no keys."""
    if not sys.stdin.isatty():
        yield lambda: ""
    elif sys.platform == "win32":
        yield _windows_keys
    else:
        import termios
        import tty

        handle = sys.stdin.fileno()
        before = termios.tcgetattr(handle)
        try:
            tty.setcbreak(handle)
            yield _posix_keys
        finally:
            termios.tcsetattr(handle, termios.TCSADRAIN, before)


def _posix_keys() -> str:
    import os
    import select

    handle, pressed = sys.stdin.fileno(), b""
    while select.select([handle], [], [], 0)[0]:
        some = os.read(handle, 64)
        if not some:
            break
        pressed += some
    return pressed.decode(errors="ignore")


def _windows_keys() -> str:
    import msvcrt

    pressed = ""
    while msvcrt.kbhit():  # type: ignore[attr-defined,unused-ignore]
        pressed += msvcrt.getwch()  # type: ignore[attr-defined,unused-ignore]
    return pressed
