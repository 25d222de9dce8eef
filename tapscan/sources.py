"""Read where a person pointed: a plain file, links followed, and no more of it than anybody means.

open_plain(path)          an open file; OSError for a device, a pipe or a folder, which could be without end
read_plain(path, most)    its bytes; OSError where there are more than `most`
on_one_line(text)         without line breaks and signs that do not show
"""

import errno
import os
import stat
from io import BufferedReader
from pathlib import Path

NO_FILE = "it is a device or a pipe, no file"


def open_plain(path: Path) -> BufferedReader:
    """The message of the OSError is in its `strerror`."""
    try:
        mode = path.stat().st_mode
    except ValueError:  # a NUL in the name
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), on_one_line(str(path))) from None
    if not stat.S_ISREG(mode) and not stat.S_ISDIR(mode):
        raise OSError(errno.EINVAL, NO_FILE, str(path))
    return path.open("rb")


def read_plain(path: Path, most: int) -> bytes:
    """Never more than `most` bytes are taken into memory."""
    with open_plain(path) as file:
        content = file.read(most + 1)
    if len(content) > most:
        raise OSError(errno.EFBIG, f"it is larger than {told_bytes(most)}", str(path))
    return content


def told_bytes(count: int) -> str:
    """In MB or kB."""
    return f"{count // 1_000_000} MB" if count >= 1_000_000 else f"{count // 1000} kB"


def on_one_line(text: str) -> str:
    """A name or a key as it can be told."""
    return "".join(c if c.isprintable() else "?" for c in text)
