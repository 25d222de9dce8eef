"""A new folder that comes whole or not at all.

whole_folder(target)    a `with` block that fills a folder, which takes the name `target` when the block has ended well

It grows within TARGET.part, beside a note that tells what that is. After an error or a Ctrl-C both are gone; what a kill left is known by its note, and
the same command begins it anew. Anything else of that name is left alone.
"""

import os
import secrets
import shutil
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from tapscan.errors import BadRequest, RegisterProblem
from tapscan.register.files import flush_folder

NOTE, COPY = "tapscan-unfinished.txt", "copy"
SAYS = "tapscan was making {name} here and was stopped before the end. The same command begins it anew; this folder may be deleted."


@contextmanager
def whole_folder(target: Path) -> Iterator[Path]:
    """`target` is new or empty. Raises BadRequest where something else has the name that is needed meanwhile."""
    part, mark = target.with_name(target.name + ".part"), secrets.token_hex(8)
    _free(part)
    try:
        part.mkdir(parents=True)
        (part / NOTE).write_text(f"{SAYS.format(name=target.name)}\n{mark}\n", encoding="utf-8")
        (part / COPY).mkdir()
        yield part / COPY
        if not _ours(part, mark):
            raise RegisterProblem(f"{target}: another tapscan is making it too; wait until that one has ended")
        for folder in (part / COPY, *(p for p in (part / COPY).rglob("*") if p.is_dir())):
            flush_folder(folder)
        if target.exists():
            target.rmdir()
        (part / COPY).rename(target)
        flush_folder(target.parent)
    finally:
        with suppress(OSError):  # a disk that was pulled out; the note tells what is left on it
            if _ours(part, mark):
                _cleared(part)


def _free(part: Path) -> None:
    if not part.exists():
        return
    if not part.is_dir() or not ((part / NOTE).is_file() or not any(part.iterdir())):
        raise BadRequest(
            f"{part}: is in the way, and is left alone: an older tapscan that was stopped may have left it, or it is somebody's own. "
            "If nobody needs it, delete it by hand; else name another folder"
        )
    _cleared(part)


def _ours(part: Path, mark: str) -> bool:
    """Stopped before its note was written there is none."""
    note = part / NOTE
    if not note.exists():
        return part.is_dir() and not any(part.iterdir())
    told = note.read_text(encoding="utf-8")
    return not told or told.split()[-1] == mark


def _cleared(part: Path) -> None:
    """The note goes last."""
    if os.name == "nt":  # where what may only be read cannot be removed
        for path in part.rglob("*"):
            path.chmod(stat.S_IWRITE)
    if (part / COPY).exists():
        shutil.rmtree(part / COPY)
    (part / NOTE).unlink(missing_ok=True)
    part.rmdir()
