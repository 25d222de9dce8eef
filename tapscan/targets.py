"""Write where a person pointed: a plain file whole or not at all, a device or a pipe as it is.

whole_file(path)          a `with` block; the old file stands until the block has ended well
write_text(path, text)    UTF-8
write_bytes(path, data)

Links are followed. A file that is there keeps its mode and, where this user may give it, its owner; a new one gets what the umask leaves.
"""

import errno
import os
import secrets
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

HANDLES = ("/dev/", "/proc/")  # what lies there is an open handle or a device, also where it leads to a plain file
IN_MEMORY = "/dev/shm/"  # but here are plain files, kept in memory


def write_text(path: Path, text: str) -> None:
    """Raises OSError and leaves nothing behind."""
    write_bytes(path, text.encode())


def write_bytes(path: Path, data: bytes) -> None:
    """Raises OSError and leaves nothing behind."""
    with whole_file(path) as file:
        file.write(data)


@contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """An open file to write to. Raises OSError; after any error a plain file is as it was."""
    there = _status(path)
    if (there and not stat.S_ISREG(there.st_mode)) or _is_handle(os.path.normpath(path.absolute())):
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_APPEND), "wb") as file:
            yield file
        return
    if there and not os.access(path, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
    with _beside(Path(os.path.realpath(path)), there) as file:
        yield file


def _is_handle(path: str) -> bool:
    return path.startswith(HANDLES) and not path.startswith(IN_MEMORY)


def _status(path: Path) -> os.stat_result | None:
    try:
        return path.stat()
    except FileNotFoundError:
        return None


@contextmanager
def _beside(target: Path, there: os.stat_result | None) -> Iterator[BinaryIO]:
    """A new file next to `target`, which takes its place at the end."""
    part = target.with_name(f".tapscan-{secrets.token_hex(8)}.part")
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    try:  # a Ctrl-C may come as it is made
        handle = _opened(part, flags, 0o600 if there else 0o666, target)  # a new file: less the umask
        try:
            with os.fdopen(os.dup(handle), "wb") as file:
                yield file
            os.fsync(handle)  # else a power cut may leave an empty file under the name
        finally:
            os.close(handle)
        if there:
            _like(part, there)
        part.replace(target)
    except BaseException:
        with suppress(OSError):  # what went wrong before is told
            part.unlink(missing_ok=True)
        raise


def _opened(part: Path, flags: int, mode: int, target: Path) -> int:
    try:
        return os.open(part, flags, mode)
    except OSError as problem:
        raise OSError(problem.errno, problem.strerror, str(target)) from None


def _like(part: Path, there: os.stat_result) -> None:
    """Owner first: giving a file away may take bits of its mode."""
    now = part.stat()
    if hasattr(os, "chown") and (now.st_uid, now.st_gid) != (there.st_uid, there.st_gid):
        with suppress(PermissionError):  # only root may give a file away
            os.chown(part, there.st_uid, there.st_gid)
    part.chmod(stat.S_IMODE(there.st_mode))
