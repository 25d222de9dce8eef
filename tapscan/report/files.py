"""Write a file whole or not at all: the old file stands until the new one is complete.

write_text(path, text)    UTF-8
write_bytes(path, data)
"""

import os
import tempfile
from pathlib import Path


def write_text(path: Path, text: str) -> None:
    """Raises OSError and leaves nothing behind."""
    write_bytes(path, text.encode())


def write_bytes(path: Path, data: bytes) -> None:
    """Write beside `path`, then take its place. Raises OSError and leaves nothing behind."""
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".tapscan-", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(temporary).chmod(0o644)
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
