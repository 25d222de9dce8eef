"""Recordings in an object store, or wherever else fsspec leads, with copies in this bench's own folder.

ObjectStore(url, bench)    Files; see file_store
reachable(url)             raises NotReached or RegisterProblem where nothing can be listed there

Keys come from where the store's own library looks for them (environment, ~/.aws/credentials), never from tapscan. An object appears whole or not
at all; what is fetched is held against its hash before it gets its name here, and again each time the copy is read.
"""

import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from tapscan.errors import DamagedFile, MissingExtra, NotReached, RegisterProblem
from tapscan.register.entries import KeptFile
from tapscan.register.file_store import FolderFiles, held_against_hash
from tapscan.register.files import CHUNK, FILES, HASH, path_of, sha256_of
from tapscan.register.trouble import plain_words

MOST_BYTES = 4_000_000_000  # of copies on a bench
KEPT_S = 86_400.0  # a copy that was used within a day stays
WAIT_S = 20
S3 = {"config_kwargs": {"connect_timeout": 5, "read_timeout": WAIT_S, "retries": {"max_attempts": 2}}}


class ObjectStore:
    """See the module."""

    def __init__(self, url: str, bench: Path, most_bytes: int = MOST_BYTES) -> None:
        self.url, self.bench, self.most_bytes = url, bench, most_bytes
        self.fs, self.root = _opened(url)
        (bench / FILES).mkdir(parents=True, exist_ok=True)
        self.copies = FolderFiles(bench)

    def keep_file(self, source: Path, name: str) -> KeptFile:
        """Sent as it lies where its name says its hash, else copied here first."""
        if HASH.fullmatch(source.name) and source.is_file() and sha256_of(source) == source.name:
            return self._send(KeptFile(source.name, source.stat().st_size, name), source)
        return self._send(self.copies.keep_file(source, name))

    def keep_bytes(self, content: bytes, name: str) -> KeptFile:
        """The same for bytes."""
        return self._send(self.copies.keep_bytes(content, name))

    def _send(self, file: KeptFile, source: Path | None = None) -> KeptFile:
        there = self._at(file.sha256)
        with _words(self.url):
            if self._size(there) != file.size_bytes:
                self.fs.put_file(str(source or path_of(self.bench, file.sha256)), there)
                self.fs.invalidate_cache()
                if self._size(there) != file.size_bytes:
                    raise NotReached(f"{self.url}: a recording did not arrive whole; nothing was stored: do it again")
        return file

    def _size(self, there: str) -> int | None:
        try:
            return int(self.fs.info(there)["size"])
        except FileNotFoundError:
            return None

    def path_of(self, sha256: str) -> Path:
        """Of a copy on this bench, fetched where there is none."""
        path = path_of(self.bench, sha256)
        with suppress(DamagedFile):  # a copy that was spoilt here is fetched anew
            if held_against_hash(path).exists():
                with suppress(OSError):  # only a mark of when it was used
                    path.touch()
                return path
        return self._fetched(sha256, path)

    def _fetched(self, sha256: str, path: Path) -> Path:
        incoming = self.bench / FILES / f".incoming-{sha256[:16]}-{time.monotonic_ns()}.part"
        try:
            with _words(self.url):
                self.fs.get_file(self._at(sha256), str(incoming))
            with plain_words(self.bench):
                if sha256_of(incoming) != sha256:
                    raise DamagedFile(f"{self.url}: the content of {sha256} has changed; put it back from a backup")
                path.parent.mkdir(exist_ok=True)
                incoming.replace(path)
        except FileNotFoundError:
            return path
        finally:
            incoming.unlink(missing_ok=True)
        self._make_room()
        return path

    def _make_room(self) -> None:
        """The copies used longest ago go first; one that waits to be sent is never a mere copy (outbox.py keeps those elsewhere)."""
        copies = [(p.stat(), p) for p in (self.bench / FILES).glob("*/*") if HASH.fullmatch(p.name)]
        total = sum(s.st_size for s, _ in copies)
        for status, path in sorted(copies, key=lambda one: one[0].st_mtime):
            if total <= self.most_bytes or time.time() - status.st_mtime < KEPT_S:
                return
            path.unlink(missing_ok=True)
            total -= status.st_size

    def wrong(self, sha256: str, size_bytes: int) -> str | None:
        """Read from the store, not from the copy."""
        import hashlib

        digest, size = hashlib.sha256(), 0
        try:
            with _words(self.url), self.fs.open(self._at(sha256), "rb") as file:
                while chunk := file.read(CHUNK):
                    digest.update(chunk)
                    size += len(chunk)
        except FileNotFoundError:
            return f"{self._shown(sha256)}: is missing"
        if (size, digest.hexdigest()) != (size_bytes, sha256):
            return f"{self._shown(sha256)}: its content has changed"
        return None

    def strangers(self, known: set[str]) -> Iterator[str]:
        """Objects that no row names."""
        with _words(self.url):
            self.fs.invalidate_cache()
            names = sorted(self.fs.find(f"{self.root}/{FILES}"))
        for name in names:
            last = name.rpartition("/")[2]
            if last not in known:
                kind = "a file no scan or plate refers to" if HASH.fullmatch(last) else "not a file of the register"
                yield f"{FILES}/{last[:2]}/{last}: {kind}"

    def _at(self, sha256: str) -> str:
        return f"{self.root}/{path_of(Path(), sha256).as_posix()}"

    def _shown(self, sha256: str) -> str:
        return path_of(Path(), sha256).as_posix()


def reachable(url: str) -> None:
    """Looks at the place itself: a bucket must be there."""
    fs, root = _opened(url)
    with _words(url):
        try:
            fs.ls(root.partition("/")[0])
        except FileNotFoundError:
            raise RegisterProblem(f"{url}: there is no such bucket; make it first") from None


def _opened(url: str) -> tuple[Any, str]:
    scheme = urlsplit(url).scheme
    try:
        import fsspec

        fs = fsspec.filesystem(scheme, **(S3 if scheme in ("s3", "s3a") else {}))
    except (ImportError, ValueError):
        raise MissingExtra(f"recordings at {scheme}:// need a library: pip install 'tapscan[server]'") from None
    return fs, str(fs._strip_protocol(url)).rstrip("/")


@contextmanager
def _words(url: str) -> Iterator[None]:
    """Trouble of the store in one line; a file that is missing is the caller's affair. Keys are in no message of these libraries, and none is shown."""
    try:
        yield
    except (FileNotFoundError, RegisterProblem):
        raise
    except PermissionError:
        raise RegisterProblem(
            f"{url}: the store refuses this account; nothing was stored: see docs/server.md on its keys"
        ) from None
    except _of_the_library() as problem:
        what = type(problem).__name__
        if "Credentials" in what:
            raise RegisterProblem(
                f"{url}: no keys for the store are found on this computer; nothing was stored: see docs/server.md on its keys"
            ) from None
        raise NotReached(
            f"{url}: the store of the recordings does not answer ({what}); do it again when it does"
        ) from None


def _of_the_library() -> tuple[type[BaseException], ...]:
    try:
        from botocore.exceptions import BotoCoreError
    except ImportError:
        return (OSError,)
    return (OSError, BotoCoreError)
