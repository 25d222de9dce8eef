"""Photos of a plate, as a person sends them: kept as they are, told from their first bytes.

looked_at(paths)                       raises BadRequest for a file that is no photo, or too large for one
keep_photo(register, plate, name)      a `with` block with an open file; at its end `keep()` puts it with the plate
photo_of(register, plate, sha256)      path and kind of one of the plate's photos
kind_of_photo(head)                    'image/jpeg', ... or None
"""

import os
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from msgspec import Struct

from tapscan.errors import BadRequest, UnknownName
from tapscan.register.database import Register
from tapscan.register.entries import KeptFile, Plate
from tapscan.register.plates import add_photo, find_plate
from tapscan.sources import on_one_line, open_plain, told_bytes

MOST_BYTES = 40_000_000
HEAD_BYTES = 32
HEIF = (b"heic", b"heix", b"mif1", b"msf1", b"hevc", b"avif")


def kind_of_photo(head: bytes) -> str | None:
    """By the first bytes, whatever its name says. Published formats, from memory."""
    if head.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "image/webp"
    if head[4:8] == b"ftyp" and head[8:12] in HEIF:
        return "image/avif" if head[8:12] == b"avif" else "image/heic"
    return None


def looked_at(paths: Iterable[Path] | None) -> None:
    """Before anything is copied or changed."""
    for path in paths or ():
        _look_at(path, str(path))


def _look_at(path: Path, name: str) -> None:
    name = on_one_line(name)
    try:
        with open_plain(path) as file:
            size, head = os.fstat(file.fileno()).st_size, file.read(HEAD_BYTES)
    except OSError as problem:
        raise BadRequest(f"{name}: cannot be read ({problem.strerror}); check the name and the folder") from None
    if kind_of_photo(head) is None:
        raise BadRequest(f"{name}: is no photo that can be shown; give JPEG, PNG, WebP or HEIC")
    if size > MOST_BYTES:
        raise BadRequest(f"{name}: has {told_bytes(size)}; a photo may have {told_bytes(MOST_BYTES)}")


class Taken(Struct):
    """A photo on its way in."""

    register: Register
    plate: str
    name: str
    path: Path
    file: BinaryIO
    kept: KeptFile | None = None  # once `keep` has run

    def keep(self) -> Plate:
        """Raises BadRequest for what is no photo."""
        self.file.flush()
        _look_at(self.path, self.name)
        self.kept = self.register.files.keep_file(self.path, self.name)
        return add_photo(self.register, self.plate, self.kept)


@contextmanager
def keep_photo(register: Register, plate: str, name: str) -> Iterator[Taken]:
    """The bytes lie beside the register until they are known to be a photo."""
    found = find_plate(register, plate, exact=True)
    with tempfile.TemporaryDirectory(dir=register.folder, prefix=".photo-") as folder:
        path = Path(folder) / "photo"
        with path.open("wb") as file:
            yield Taken(register, found.name, name, path, file)


def photo_of(register: Register, plate: str, sha256: str) -> tuple[Path, str]:
    """Raises UnknownName for a file that is no photo of this plate."""
    found = find_plate(register, plate, exact=True)
    if sha256 not in {p.sha256 for p in found.photos}:
        raise UnknownName(f"{found.name} has no such photo")
    path = register.files.path_of(sha256)
    try:
        with path.open("rb") as file:
            kind = kind_of_photo(file.read(HEAD_BYTES))
    except OSError:
        raise UnknownName(
            f"the photo of {found.name} is missing; `tapscan register check` tells what else is"
        ) from None
    return path, kind or "application/octet-stream"
