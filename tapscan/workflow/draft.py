"""A scan that is being put together from files, before it is stored: recordings, how they are to be read, how the scan was made.

    begin_draft(register, plate)              Draft: a folder of its own within the register's
    find_draft, drafts_of(register, plate)
    incoming(draft, name, part)               a `with` block that takes a file's bytes; whole or not at all
    remove_file(draft, number)
    set_part(draft, number, part)             a recording is of the plate, or of the reference bar before or after it
    change(draft, seen, answers)              what the person said; refused where another window has said something since
    give_up(draft)                            the folder goes

All of it lies on the disk at once, so that a stopped program loses nothing. The name a file came with is text; files are called by number.
"""

import json
import os
import re
import secrets
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from threading import Lock
from typing import Any, BinaryIO

from tapscan.errors import BadRequest, UnknownName
from tapscan.recording.container import container_of
from tapscan.register.database import Register, utc_now
from tapscan.register.plates import find_plate
from tapscan.targets import write_text
from tapscan.workflow.bar import BAR_TURNS

FOLDER, FACTS, HALF = "drafts", "draft.json", ".part"
PLATE = "plate"
PARTS = (PLATE, *BAR_TURNS)
ID = re.compile(r"[0-9a-f]{16}")
HEAD_BYTES = 8192
MOST_FILES = 400
_changing = Lock()


@dataclass(frozen=True)
class DraftFile:
    """A recording of a draft."""

    number: int
    name: str  # as it came
    size_bytes: int
    part: str = PLATE  # one of PARTS


@dataclass(frozen=True)
class Draft:
    """`version` goes up with every change."""

    folder: Path
    plate: str
    begun_utc: str
    version: int = 1
    files: tuple[DraftFile, ...] = ()
    answers: Mapping[str, Any] = field(
        default_factory=dict
    )  # typed: the form's fields; assign and skip: what was said of single taps

    @property
    def id(self) -> str:
        """Name of its folder."""
        return self.folder.name

    def of(self, part: str) -> tuple[DraftFile, ...]:
        """Recordings of the plate, or of the bar before or after it."""
        return tuple(f for f in self.files if f.part == part)

    def path(self, file: DraftFile) -> Path:
        """Where its bytes are."""
        return self.folder / f"{file.number:03d}"

    @property
    def called(self) -> dict[str, str]:
        """Path and name of every recording; of two alike the later is told by its number."""
        names = [f.name for f in self.files]
        return {
            str(self.path(f)): f.name if names.index(f.name) == i else f"{f.name} ({f.number})"
            for i, f in enumerate(self.files)
        }


def begin_draft(register: Register, plate: str) -> Draft:
    """Raises UnknownName."""
    name = find_plate(register, plate, exact=True).name
    folder = register.folder / FOLDER / secrets.token_hex(8)
    folder.mkdir(parents=True)
    return _write(Draft(folder, name, utc_now()))


def find_draft(register: Register, number: str) -> Draft:
    """Raises UnknownName."""
    if not ID.fullmatch(number):
        raise UnknownName("there is no such scan in the making; begin a new one from the plate's page")
    return _read(register.folder / FOLDER / number)


def drafts_of(register: Register, plate: str) -> list[Draft]:
    """Oldest first."""
    found = []
    for path in sorted((register.folder / FOLDER).glob(f"*/{FACTS}")):
        with suppress(UnknownName):
            found.append(_read(path.parent))
    return sorted((d for d in found if d.plate == plate), key=lambda d: d.begun_utc)


def _read(folder: Path) -> Draft:
    try:
        told = json.loads((folder / FACTS).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        raise UnknownName("this scan in the making is not there any more; it was stored or given up") from None
    files = tuple(DraftFile(**f) for f in told["files"])
    return Draft(folder, told["plate"], told["begun_utc"], told["version"], files, told["answers"])


def _write(draft: Draft) -> Draft:
    told = {
        "plate": draft.plate,
        "begun_utc": draft.begun_utc,
        "version": draft.version,
        "files": [vars(f) for f in draft.files],
        "answers": dict(draft.answers),
    }
    write_text(draft.folder / FACTS, json.dumps(told, ensure_ascii=False, indent=1) + "\n")
    return draft


@contextmanager
def incoming(draft: Draft, name: str, part: str = PLATE) -> Iterator[BinaryIO]:
    """Nothing is left of a file whose bytes did not all come. Raises BadRequest for what is no recording."""
    _known(part)
    half = draft.folder / f"{secrets.token_hex(8)}{HALF}"
    try:
        with half.open("xb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        with half.open("rb") as file:
            refuse_unless_sound(name, file.read(HEAD_BYTES))
        _take_in(draft, half, name, part)
    finally:
        half.unlink(missing_ok=True)


def refuse_unless_sound(name: str, head: bytes) -> None:
    """By its first bytes. Raises BadRequest."""
    if container_of(head) is None:
        raise BadRequest(f"{name}: is no recording that can be read here; give WAV, FLAC, AIFF, OGG, MP3 or M4A")


def _take_in(draft: Draft, half: Path, name: str, part: str) -> None:
    with _changing:
        now = _read(draft.folder)
        if len(now.files) >= MOST_FILES:
            raise BadRequest(f"{MOST_FILES} recordings are the most that one scan can have")
        number = max((f.number for f in now.files), default=0) + 1
        file = DraftFile(number, name, half.stat().st_size, part)
        half.rename(now.path(file))
        files = tuple(sorted((*now.files, file), key=lambda f: (f.name.casefold(), f.number)))
        _write(replace(now, version=now.version + 1, files=files))


def remove_file(draft: Draft, number: int) -> Draft:
    """What the person said of single taps goes with it: their numbers change."""
    with _changing:
        now = _read(draft.folder)
        kept = tuple(f for f in now.files if f.number != number)
        changed = _write(replace(now, version=now.version + 1, files=kept, answers=_without_taps(now)))
        for gone in set(now.files) - set(kept):
            now.path(gone).unlink(missing_ok=True)
    return changed


def set_part(draft: Draft, number: int, part: str) -> Draft:
    """What was said of single taps goes: their numbers change. Raises BadRequest for what is no part."""
    _known(part)
    with _changing:
        now = _read(draft.folder)
        files = tuple(replace(f, part=part) if f.number == number else f for f in now.files)
        return _write(replace(now, version=now.version + 1, files=files, answers=_without_taps(now)))


def _known(part: str) -> None:
    if part not in PARTS:
        raise BadRequest("choose whether the recording is of the plate, or of the bar before or after it")


def _without_taps(draft: Draft) -> dict[str, Any]:
    return {k: v for k, v in draft.answers.items() if k not in ("assign", "skip")}


def change(draft: Draft, seen: int, answers: Mapping[str, Any]) -> Draft:
    """`seen` : the version that the person had before his eyes. Raises BadRequest where there is a newer one."""
    with _changing:
        now = _read(draft.folder)
        if seen != now.version:
            raise BadRequest("this scan was changed in another window meanwhile; look at it again, then go on")
        return _write(replace(now, version=now.version + 1, answers={**now.answers, **answers}))


def give_up(draft: Draft) -> None:
    """Its files are no longer in anybody's way."""
    shutil.rmtree(draft.folder, ignore_errors=True)
