"""A scan that is being put together from files, before it is stored: recordings, how they are to be read, how the scan was made.

    begin_draft(register, plate)              Draft: a folder of its own within the register's
    find_draft, drafts_of(register, plate)
    incoming(draft, name, part)               a `with` block that takes a file's bytes; whole or not at all
    remove_file(draft, number)
    set_part(draft, number, part)             a recording is of the plate, or of the reference bar before or after it
    change(draft, seen, answers)              what the person said; refused where another window has said something since
    see_unharmed(draft)                       raises BadRequest where a recording is no longer what came in
    end_stored(draft)                         these recordings are stored; one that came in meanwhile stays a draft
    give_up(draft)                            the folder goes

All of it lies on the disk at once, so that a stopped program loses nothing. The name a file came with is text; files are called by number.
A draft belongs to the plate's row: its plate may be called otherwise by now, and another plate as that one was.
"""

import hashlib
import json
import os
import secrets
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Lock
from typing import Any, BinaryIO

from msgspec import Struct, field
from msgspec.structs import asdict, replace

from tapscan.errors import BadRequest, RegisterProblem, UnknownName
from tapscan.recording.container import container_of
from tapscan.register.beside import DRAFT_ID, DRAFTS, FACTS, GONE, HALF, drafts_in, harm_of
from tapscan.register.database import Register, utc_now
from tapscan.register.files import flush_folder
from tapscan.register.plates import find_plate, plate_called
from tapscan.register.trouble import plain_words
from tapscan.targets import write_text
from tapscan.workflow.bar import BAR_TURNS

PLATE = "plate"
PARTS = (PLATE, *BAR_TURNS)
HEAD_BYTES = 8192
MOST_FILES = 400
_changing = Lock()


class DraftFile(Struct, frozen=True):
    """A recording of a draft."""

    number: int
    name: str  # as it came
    size_bytes: int
    part: str = PLATE  # one of PARTS
    sha256: str | None = None  # of what came; None where an older tapscan took it in


class Draft(Struct, frozen=True):
    """`version` goes up with every change."""

    folder: Path
    plate: str
    begun_utc: str
    version: int = 1
    files: tuple[DraftFile, ...] = ()
    answers: Mapping[str, Any] = field(
        default_factory=dict
    )  # typed: the form's fields; assign and skip: what was said of single taps
    plate_id: int | None = None  # row of the plate; None where an older tapscan began it

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
    found = find_plate(register, plate, exact=True)
    folder = register.folder / DRAFTS / secrets.token_hex(8)
    with plain_words(register.folder):
        folder.mkdir(parents=True)
    return _write(Draft(folder, found.name, utc_now(), plate_id=found.id))


def find_draft(register: Register, number: str) -> Draft:
    """Raises UnknownName."""
    if not DRAFT_ID.fullmatch(number):
        raise UnknownName("there is no such scan in the making; begin a new one from the plate's page")
    return _of_plate(register, _read(register.folder / DRAFTS / number))


def drafts_of(register: Register, plate: str) -> list[Draft]:
    """Oldest first. Of one whose facts are damaged nobody knows the plate: `tapscan register check` names it."""
    found = []
    for folder in drafts_in(register.folder):
        with suppress(UnknownName, RegisterProblem):
            found.append(_of_plate(register, _read(folder)))
    return sorted((d for d in found if d.plate == plate), key=lambda d: d.begun_utc)


def _of_plate(register: Register, draft: Draft) -> Draft:
    name = plate_called(register, draft.plate_id) if draft.plate_id is not None else None
    return replace(draft, plate=name or draft.plate)


def _read(folder: Path) -> Draft:
    try:
        told = json.loads((folder / FACTS).read_text(encoding="utf-8"))
        files = tuple(DraftFile(**f) for f in told["files"])
        facts = (told["plate"], told["begun_utc"], told["version"], files, told["answers"])
    except (FileNotFoundError, NotADirectoryError):
        raise UnknownName("this scan in the making is not there any more; it was stored or given up") from None
    except OSError as problem:
        raise RegisterProblem(f"{folder / FACTS}: cannot be read ({problem.strerror}); see to the disk") from None
    except (ValueError, KeyError, TypeError):
        raise RegisterProblem(
            f"{folder / FACTS}: is damaged; the recordings of this scan in the making lie beside it: drop them into a new one"
        ) from None
    return Draft(folder, *facts, told.get("plate_id"))


def _now(draft: Draft) -> Draft:
    """As it lies on the disk, under its plate's present name."""
    return replace(_read(draft.folder), plate=draft.plate)


def _write(draft: Draft) -> Draft:
    told = {
        "plate": draft.plate,
        "plate_id": draft.plate_id,
        "begun_utc": draft.begun_utc,
        "version": draft.version,
        "files": [asdict(f) for f in draft.files],
        "answers": dict(draft.answers),
    }
    with plain_words(_register_of(draft)):
        write_text(draft.folder / FACTS, json.dumps(told, ensure_ascii=False, indent=1) + "\n")
    return draft


def _register_of(draft: Draft) -> Path:
    return draft.folder.parents[1]


@contextmanager
def incoming(draft: Draft, name: str, part: str = PLATE) -> Iterator["Incoming"]:
    """Nothing is left of a file whose bytes did not all come. Raises BadRequest for what is no recording."""
    _known(part)
    half = draft.folder / f"{secrets.token_hex(8)}{HALF}"
    try:
        with plain_words(_register_of(draft)):
            with half.open("xb") as file:
                taken = Incoming(file)
                yield taken
                file.flush()
                os.fsync(file.fileno())
            with half.open("rb") as file:
                refuse_unless_sound(name, file.read(HEAD_BYTES))
            _take_in(draft, half, DraftFile(0, name, half.stat().st_size, part, taken.digest.hexdigest()))
    finally:
        with suppress(OSError):  # a disk that may not be written to any more: nothing was taken in
            half.unlink(missing_ok=True)


def refuse_unless_sound(name: str, head: bytes) -> None:
    """By its first bytes. Raises BadRequest."""
    if container_of(head) is None:
        raise BadRequest(f"{name}: is no recording that can be read here; give WAV, FLAC, AIFF, OGG, MP3 or M4A")


class Incoming:
    """A file whose bytes are hashed as they come."""

    def __init__(self, file: BinaryIO) -> None:
        self.digest, self._file = hashlib.sha256(), file

    def write(self, piece: bytes) -> int:
        """All of it."""
        self.digest.update(piece)
        return self._file.write(piece)


def _take_in(draft: Draft, half: Path, taken: DraftFile) -> None:
    with _changing:
        now = _now(draft)
        if len(now.files) >= MOST_FILES:
            raise BadRequest(f"{MOST_FILES} recordings are the most that one scan can have")
        number = max((f.number for f in now.files), default=0) + 1
        file = replace(taken, number=number)
        half.replace(now.path(file))
        flush_folder(draft.folder)
        files = tuple(sorted((*now.files, file), key=lambda f: (f.name.casefold(), f.number)))
        _write(replace(now, version=now.version + 1, files=files))


def remove_file(draft: Draft, number: int) -> Draft:
    """What the person said of single taps goes with it: their numbers change."""
    with _changing:
        now = _now(draft)
        kept = tuple(f for f in now.files if f.number != number)
        changed = _write(replace(now, version=now.version + 1, files=kept, answers=_without_taps(now)))
        for gone in set(now.files) - set(kept):
            now.path(gone).unlink(missing_ok=True)
    return changed


def set_part(draft: Draft, number: int, part: str) -> Draft:
    """What was said of single taps goes: their numbers change. Raises BadRequest for what is no part."""
    _known(part)
    with _changing:
        now = _now(draft)
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
        now = _now(draft)
        if seen != now.version:
            raise BadRequest("this scan was changed in another window meanwhile; look at it again, then go on")
        return _write(replace(now, version=now.version + 1, answers={**now.answers, **answers}))


def see_unharmed(draft: Draft) -> None:
    """What was shown of its taps would be of other sound than what is stored."""
    for file in draft.files:
        if said := harm_of(draft.path(file), asdict(file)):
            raise BadRequest(f"{file.name}: {said} since it came in; take it out and drop it in again")


def end_stored(draft: Draft) -> None:
    """A telephone may have sent more while the scan was read."""
    with _changing:
        now = _now(draft)
        late = tuple(f for f in now.files if f not in draft.files)
        if not late:
            with suppress(RegisterProblem):  # the scan is stored; the draft left over is refused as stored already
                give_up(draft)
            return
        _write(replace(now, version=now.version + 1, files=late, answers=_without_taps(now)))
        for path in {draft.path(f) for f in draft.files} - {draft.path(f) for f in late}:
            path.unlink(missing_ok=True)


def give_up(draft: Draft) -> None:
    """Its files are no longer in anybody's way. Stopped in the middle it is no half draft. Raises RegisterProblem where the disk refuses it."""
    gone = draft.folder.with_name(GONE + draft.id)
    with plain_words(_register_of(draft)), suppress(FileNotFoundError):  # another window gave it up
        draft.folder.rename(gone)
    with suppress(OSError):  # what is left of it is named by `tapscan register check`
        shutil.rmtree(gone)
