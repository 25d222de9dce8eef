"""Write a file whole or not at all: the old file stands until the new one is complete.

write_text(path, text)    UTF-8
write_bytes(path, data)

A link is followed: what it points to is written, and the link stays. An existing file keeps its permissions, a new one gets those of the
user's umask. What is no plain file (a device, a pipe) is simply written to, never replaced.
"""

import os
import stat
import tempfile
from pathlib import Path

PLAIN_MODE = 0o666


def write_text(path: Path, text: str) -> None:
    """Raises OSError and leaves nothing behind."""
    write_bytes(path, text.encode())


def write_bytes(path: Path, data: bytes) -> None:
    """Raises OSError and leaves nothing behind."""
    target = Path(os.path.realpath(path))
    before = target.stat() if target.exists() else None
    if before is not None and not stat.S_ISREG(before.st_mode):
        with target.open("wb", buffering=0) as file:
            _write_all(file.fileno(), data)
        return
    _replace(target, data, stat.S_IMODE(before.st_mode) if before else PLAIN_MODE & ~_umask())


def _replace(target: Path, data: bytes, mode: int) -> None:
    """Write beside the target, then take its place."""
    handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=".tapscan-", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(temporary).chmod(mode)
        Path(temporary).replace(target)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def _write_all(handle: int, data: bytes) -> None:
    """A pipe may take less than it is given."""
    left = memoryview(data)
    while left:
        left = left[os.write(handle, left) :]


def _umask() -> int:
    """There is no way to read it but to set it."""
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
