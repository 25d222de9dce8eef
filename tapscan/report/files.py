"""Write a text file whole or not at all.

write_text(path, text)   UTF-8; the old file stands until the new one is complete
"""

import os
import tempfile
from pathlib import Path


def write_text(path: Path, text: str) -> None:
    """Write beside `path`, then take its place. Raises OSError and leaves nothing behind."""
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".tapscan-", suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        Path(temporary).chmod(0o644)
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
