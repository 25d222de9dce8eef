"""What the shop keeps beside the database: its defaults, its own layouts, and scans that are not stored yet.

take_along(source, target)      all of it that the target lacks; each layout and each draft comes whole or not at all

A draft's folder holds recordings, whole as soon as they have their name, and a file with its facts, which is replaced whole.
"""

import shutil
from contextlib import suppress
from pathlib import Path

from tapscan.register.files import CHUNK
from tapscan.register.trouble import plain_words
from tapscan.targets import whole_file, write_bytes

DEFAULTS, LAYOUTS, DRAFTS = "defaults.toml", "layouts", "drafts"
FACTS, HALF = "draft.json", ".part"
TRIES = 5  # while somebody goes on with a draft


def take_along(source: Path, target: Path) -> None:
    """Folders of two registers, or of a bench. Raises RegisterProblem."""
    with plain_words(target):
        for path in (source / DEFAULTS, *sorted((source / LAYOUTS).rglob("*.toml"))):
            if path.is_file():
                _take(path, target / path.relative_to(source))
        for facts in sorted((source / DRAFTS).glob(f"*/{FACTS}")):
            _take_draft(facts.parent, target / DRAFTS / facts.parent.name)


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
