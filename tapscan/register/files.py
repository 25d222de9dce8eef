"""A file comes into the register whole or not at all.

    keep_file(folder, source, name)      KeptFile; copied, flushed to the disk, then named by its SHA-256
    keep_bytes(folder, content, name)    the same for bytes
    path_of(folder, sha256)              where it lies
    sha256_of(path)                      hash of a file's bytes
    leftovers(folder)                    unfinished copies that a stopped import left; harmless

The name a file came with is text in the database; only its hash is ever part of a path.
"""

import hashlib
import io
import os
import re
import tempfile
from pathlib import Path
from typing import IO

from tapscan.errors import RegisterProblem
from tapscan.register.entries import KeptFile

FILES = "files"
PART = ".part"
CHUNK = 1 << 20
HASH = re.compile(r"[0-9a-f]{64}")


def path_of(folder: Path, sha256: str) -> Path:
    """files/ab/abcd..."""
    if not HASH.fullmatch(sha256):
        raise RegisterProblem(f"{sha256!r} is no SHA-256; the register is damaged: run `tapscan register check`")
    return folder / FILES / sha256[:2] / sha256


def keep_file(folder: Path, source: Path, name: str) -> KeptFile:
    """Copy `source` into the register's folder. Raises RegisterProblem or the source's own OSError."""
    try:
        with source.open("rb") as incoming:
            return _keep(folder, incoming, name)
    except IsADirectoryError:
        raise RegisterProblem(f"{source}: is a folder; name the files in it") from None
    except (FileNotFoundError, PermissionError) as problem:
        raise RegisterProblem(
            f"{problem.filename or source}: {problem.strerror}; check the name and the folder"
        ) from None


def keep_bytes(folder: Path, content: bytes, name: str) -> KeptFile:
    """Store `content` as a file."""
    return _keep(folder, io.BytesIO(content), name)


def _keep(folder: Path, incoming: IO[bytes], name: str) -> KeptFile:
    place = folder / FILES
    handle, temporary = tempfile.mkstemp(dir=place, prefix=".incoming-", suffix=PART)
    try:
        digest, size = hashlib.sha256(), 0
        with os.fdopen(handle, "wb") as file:
            while chunk := incoming.read(CHUNK):
                file.write(chunk)
                digest.update(chunk)
                size += len(chunk)
            file.flush()
            os.fsync(file.fileno())
        _move_in(folder, Path(temporary), digest.hexdigest())
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
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
        target.parent.mkdir(exist_ok=True)  # without parents: a folder pulled away is not made anew
        flush_folder(target.parent.parent)
    temporary.chmod(0o444)
    temporary.replace(target)
    flush_folder(target.parent)


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
    with path.open("rb") as file:
        while chunk := file.read(CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


def leftovers(folder: Path) -> list[Path]:
    """Unfinished copies."""
    return sorted((folder / FILES).glob(f".incoming-*{PART}"))
