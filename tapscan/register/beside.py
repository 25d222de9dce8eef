"""What the shop keeps beside the database: its defaults, its own layouts, and scans that are not stored yet.

take_along(source, target)      all of it that the target lacks; each layout and each draft comes whole or not at all
drafts_in(folder)               their folders
harm_of(path, told)             what is wrong with a draft's recording, in a few words
harmed_drafts(folder)           what is wrong with drafts, in sentences
left_of_drafts(folder)          what is only left of them, in sentences

A draft's folder holds recordings, whole as soon as they have their name, and a file with its facts, which is replaced whole.
"""

import json
import re
import shutil
from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from tapscan.register.files import CHUNK, sha256_of
from tapscan.register.trouble import plain_words
from tapscan.targets import whole_file, write_bytes

DEFAULTS, LAYOUTS, DRAFTS = "defaults.toml", "layouts", "drafts"
FACTS, HALF, GONE = "draft.json", ".part", ".gone-"
DRAFT_ID = re.compile(r"[0-9a-f]{16}")
TRIES = 5  # while somebody goes on with a draft


def take_along(source: Path, target: Path) -> None:
    """Folders of two registers, or of a bench. Raises RegisterProblem."""
    with plain_words(target):
        for path in (source / DEFAULTS, *sorted((source / LAYOUTS).rglob("*.toml"))):
            if path.is_file():
                _take(path, target / path.relative_to(source))
        for draft in drafts_in(source):
            _take_draft(draft, target / DRAFTS / draft.name)


def _take(path: Path, there: Path) -> None:
    if there.exists():
        return
    there.parent.mkdir(parents=True, exist_ok=True)
    with path.open("rb") as incoming, whole_file(there) as file:
        shutil.copyfileobj(incoming, file, CHUNK)


def _take_draft(draft: Path, there: Path) -> None:
    """The facts come last: until then it is no draft."""
    facts = _facts(draft)
    if _facts(there) is not None:
        return
    for _ in range(TRIES):
        shutil.rmtree(there, ignore_errors=True)
        _take_recordings(draft, there)
        before, facts = facts, _facts(draft)
        if facts == before:
            break
    if facts is None:  # stored or given up meanwhile
        shutil.rmtree(there, ignore_errors=True)
        return
    there.mkdir(parents=True, exist_ok=True)
    write_bytes(there / FACTS, facts)


def _take_recordings(draft: Path, there: Path) -> None:
    with suppress(FileNotFoundError):  # taken out meanwhile, which the facts tell
        for path in sorted(draft.iterdir()):
            if path.name != FACTS and path.suffix != HALF and path.is_file():
                _take(path, there / path.name)


def _facts(draft: Path) -> bytes | None:
    try:
        return (draft / FACTS).read_bytes()
    except FileNotFoundError:
        return None


def drafts_in(folder: Path) -> list[Path]:
    """`folder` : of a register, or of a bench."""
    return sorted(p for p in (folder / DRAFTS).glob("*") if DRAFT_ID.fullmatch(p.name) and p.is_dir())


def harm_of(path: Path, told: Mapping[str, Any]) -> str | None:
    """`told` : its size_bytes, and its sha256 where that is known."""
    try:
        size = path.stat().st_size
        if size != told["size_bytes"] or (told.get("sha256") and sha256_of(path) != told["sha256"]):
            return "its content has changed"
    except OSError as problem:
        return (
            "its file has gone" if isinstance(problem, FileNotFoundError) else f"it cannot be read ({problem.strerror})"
        )
    return None


def harmed_drafts(folder: Path) -> Iterator[str]:
    """A draft that is stored or given up meanwhile is none."""
    for draft in drafts_in(folder):
        called = f"{DRAFTS}/{draft.name}"
        try:
            told = json.loads((draft / FACTS).read_text(encoding="utf-8"))
            files = [(draft / f"{file['number']:03d}", file) for file in told["files"]]
        except (OSError, ValueError, KeyError, TypeError):
            if any(draft.glob("[0-9]*")):
                yield f"{called}/{FACTS}: is missing or damaged; it was of a scan in the making, whose recordings lie beside it"
            continue
        for path, file in files:
            if (said := harm_of(path, file)) and draft.is_dir():
                yield f"{called}/{path.name}: {said}; it was {file['name']}, of a scan of {told['plate']} in the making"


def left_of_drafts(folder: Path) -> Iterator[str]:
    """Harmless."""
    for path in sorted((folder / DRAFTS).glob(f"{GONE}*")):
        yield f"{path.relative_to(folder)}: a scan in the making that was stored or given up"
    for draft in drafts_in(folder):
        for path in sorted(draft.glob(f"*{HALF}")):
            yield f"{path.relative_to(folder)}: an unfinished copy"
