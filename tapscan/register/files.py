"""A file comes into the register whole or not at all.

    keep_file(folder, source, name)      KeptFile; copied, flushed to the disk, then named by its SHA-256
    keep_bytes(folder, content, name)    the same for bytes
    path_of(folder, sha256)              where it lies
    sha256_of(path)                      hash of a file's bytes
    copy_flushed(source, target)         a stored file into a backup
    leftovers(folder)                    unfinished copies that a stopped import left; harmless, and removed after a day
    make_alike(folder)                   a folder with the rights of the one it lies in

The name a file came with is text in the database; only its hash is ever part of a path.
"""

import hashlib
import os
import re
import secrets
import shutil
import stat
import time
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path

from tapscan.errors import RegisterProblem
from tapscan.register.entries import KeptFile
from tapscan.register.trouble import plain_words
from tapscan.sources import on_one_line, open_plain

FILES, BACKUPS = "files", "backups"
PART = ".part"
CHUNK = 1 << 20
STALE_S = 86_400.0  # of a copy that nobody writes to any more
HASH = re.compile(r"[0-9a-f]{64}")


def path_of(folder: Path, sha256: str) -> Path:
    """files/ab/abcd..."""
    if not HASH.fullmatch(sha256):
        raise RegisterProblem(f"{sha256!r} is no SHA-256; the register is damaged: run `tapscan register check`")
    return folder / FILES / sha256[:2] / sha256


def keep_file(folder: Path, source: Path, name: str) -> KeptFile:
    """Copy `source` into the register's folder, unless that is where it lies, unharmed. Raises RegisterProblem."""
    if HASH.fullmatch(source.name) and source == path_of(folder, source.name) and source.is_file():
        with plain_words(folder):
            if sha256_of(source) == source.name:
                return KeptFile(source.name, source.stat().st_size, name)
    return _keep(folder, chunks_of(source), name)


def keep_bytes(folder: Path, content: bytes, name: str) -> KeptFile:
    """Store `content` as a file."""
    return _keep(folder, [content], name)


def chunks_of(source: Path) -> Iterator[bytes]:
    """The file's bytes in pieces; what is wrong with it is not laid at the register's door."""
    try:
        with open_plain(source) as file:
            while chunk := file.read(CHUNK):
                yield chunk
    except OSError as problem:
        name = on_one_line(str(source))
        raise RegisterProblem(f"{name}: cannot be read ({problem.strerror}); check the name and the folder") from None


def _keep(folder: Path, chunks: Iterable[bytes], name: str) -> KeptFile:
    with plain_words(folder):
        _sweep(folder)
        temporary = (
            folder / FILES / f".incoming-{secrets.token_hex(8)}{PART}"
        )  # named before it is there: a Ctrl-C may come as it is made
        try:
            digest, size = hashlib.sha256(), 0
            with temporary.open("xb") as file:
                for chunk in chunks:
                    file.write(chunk)
                    digest.update(chunk)
                    size += len(chunk)
                file.flush()
                os.fsync(file.fileno())
            _move_in(folder, temporary, digest.hexdigest())
        except BaseException:
            with suppress(OSError):
                temporary.unlink(missing_ok=True)
            raise
        return KeptFile(digest.hexdigest(), size, name)


def _move_in(folder: Path, temporary: Path, sha256: str) -> None:
    """Rename, then flush the folders, so that the name outlives a power cut too."""
    target = path_of(folder, sha256)
    if target.exists():
        if sha256_of(target) == sha256:
            temporary.unlink()
            return
        target.chmod(0o644)  # a damaged copy gives way
    if not target.parent.is_dir():
        make_alike(target.parent)  # without parents: a folder pulled away is not made anew
        flush_folder(target.parent.parent)
    temporary.chmod(0o444)
    temporary.replace(target)
    flush_folder(target.parent)


def make_alike(folder: Path) -> None:
    """With the rights of the folder it lies in, whatever the umask: on a share every bench of the group adds to what another began."""
    try:
        folder.mkdir()
    except FileExistsError:  # another process was first
        return
    rights = stat.S_IMODE(folder.parent.stat().st_mode)
    if stat.S_IMODE(folder.stat().st_mode) != rights:
        folder.chmod(rights)


def flush_folder(folder: Path) -> None:
    """Flush a folder's entries to the disk, where the system lets a program do that."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sha256_of(path: Path) -> str:
    """Hash of the bytes, read in pieces."""
    digest = hashlib.sha256()
    with open_plain(path) as file:
        while chunk := file.read(CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


def leftovers(folder: Path) -> list[Path]:
    """Unfinished copies, of recordings and of the database."""
    return sorted((*(folder / FILES).glob(f".incoming-*{PART}"), *(folder / BACKUPS).glob(f"before-*{PART}*")))


def _sweep(folder: Path) -> None:
    """Copies that were cut off by a power cut or a kill, and that nobody has written to for a day."""
    for path in leftovers(folder):
        with suppress(OSError):  # another bench was first
            if time.time() - path.stat().st_mtime > STALE_S:
                path.unlink()


def copy_flushed(source: Path, target: Path) -> None:
    """Copy a stored file into another folder and flush it."""
    with source.open("rb") as incoming, target.open("xb") as file:
        shutil.copyfileobj(incoming, file, CHUNK)
        file.flush()
        os.fsync(file.fileno())
    target.chmod(0o444)
