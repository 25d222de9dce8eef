"""Where the files of a register lie, and how one is had: a seam between the folder and what several benches share.

FolderFiles(folder)            in the register's own folder
SharedFolder(folder)           in a folder that several benches see (file://): each file is held against its hash as it is read
ObjectStore(url, bench)        elsewhere by fsspec (s3://, ...), with copies on this bench; held against its hash as it is read
files_at(url, bench)           the last two by address
make_files_at(url)             makes the place; RegisterProblem where it cannot be made

All lie at files/ab/abcd..., named by SHA-256, so that a place can be copied as it is.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Protocol
from urllib.parse import urlsplit
from urllib.request import url2pathname

from tapscan.errors import DamagedFile, NotReached, RegisterProblem
from tapscan.register.entries import KeptFile
from tapscan.register.files import FILES, HASH, keep_bytes, keep_file, leftovers, make_alike, path_of, sha256_of
from tapscan.register.trouble import plain_words


class Files(Protocol):
    """See the module."""

    def keep_file(self, source: Path, name: str) -> KeptFile:
        """Store a copy, whole or not at all."""

    def keep_bytes(self, content: bytes, name: str) -> KeptFile:
        """The same for bytes."""

    def path_of(self, sha256: str) -> Path:
        """Where it can be read; there is nothing where it is missing. Shared: raises DamagedFile, NotReached."""

    def wrong(self, sha256: str, size_bytes: int) -> str | None:
        """What is wrong with a stored file, in a sentence."""

    def strangers(self, known: set[str]) -> Iterator[str]:
        """What lies there and is not `known`, in a sentence each."""


class FolderFiles:
    """See the module."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def keep_file(self, source: Path, name: str) -> KeptFile:
        """Copied, flushed to the disk, then named."""
        return keep_file(self.folder, source, name)

    def keep_bytes(self, content: bytes, name: str) -> KeptFile:
        """The same for bytes."""
        return keep_bytes(self.folder, content, name)

    def path_of(self, sha256: str) -> Path:
        """Whoever reads it looks at its hash."""
        return path_of(self.folder, sha256)

    def wrong(self, sha256: str, size_bytes: int) -> str | None:
        """Read anew, to the last byte."""
        try:
            path = path_of(self.folder, sha256)
            if path.stat().st_size != size_bytes or sha256_of(path) != sha256:
                return f"{path.relative_to(self.folder)}: its content has changed"
        except FileNotFoundError:
            return f"{path.relative_to(self.folder)}: is missing"
        except (OSError, RegisterProblem) as problem:
            return f"file {sha256}: {problem}"
        return None

    def strangers(self, known: set[str]) -> Iterator[str]:
        """Unfinished copies first."""
        for path in leftovers(self.folder):
            yield f"{path.relative_to(self.folder)}: an unfinished copy"
        for path in sorted((self.folder / FILES).glob("*/*")):
            if path.name not in known:
                kind = (
                    "a file no scan or plate refers to" if HASH.fullmatch(path.name) else "not a file of the register"
                )
                yield f"{path.relative_to(self.folder)}: {kind}"


class SharedFolder(FolderFiles):
    """See the module."""

    def path_of(self, sha256: str) -> Path:
        """Held against its hash now."""
        self._connected()
        with plain_words(self.folder):
            return held_against_hash(super().path_of(sha256))

    def wrong(self, sha256: str, size_bytes: int) -> str | None:
        """Raises NotReached: of a folder that is not connected nothing is known to be missing."""
        self._connected()
        return super().wrong(sha256, size_bytes)

    def _connected(self) -> None:
        if not (self.folder / FILES).is_dir():
            raise NotReached(
                f"{self.folder}: the shared folder of the recordings is not there; see that it is connected"
            )


def held_against_hash(path: Path) -> Path:
    """A file named by its hash, or nothing where there is none. Raises DamagedFile."""
    if path.exists() and sha256_of(path) != path.name:
        raise DamagedFile(
            f"{path}: its content has changed; put it back from a backup (`tapscan register check` tells what it was)"
        )
    return path


def files_at(url: str, bench: Path) -> Files:
    """`bench` : this bench's own folder."""
    if urlsplit(url).scheme == "file":
        return SharedFolder(_folder(url))
    from tapscan.register.object_store import ObjectStore

    return ObjectStore(url, bench)


def make_files_at(url: str) -> None:
    """A shared folder that is not connected is not made anew: the folder above it must be there."""
    if urlsplit(url).scheme != "file":
        from tapscan.register.object_store import reachable

        reachable(url)
        return
    folder = _folder(url)
    with plain_words(folder):
        if not folder.is_dir():
            folder.mkdir()
        make_alike(folder / FILES)


def _folder(url: str) -> Path:
    parts = urlsplit(url)
    return Path(url2pathname(f"//{parts.netloc}{parts.path}" if parts.netloc else parts.path))
