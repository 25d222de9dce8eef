"""Sentences of a screen in one file: `tests/snapshots/<screen>.txt`.

`same_as_before` compares; `TAPSCAN_REWRITE_SNAPSHOTS=1 pytest ...` writes the files anew (in one process), and the diff is read before it is
committed. What a screen does (statuses, codes, fields) is asserted in the test itself: a snapshot only keeps its words. Several tests of one
screen share a file by naming their part of it. `without_figures` takes out what is measured.
"""

import os
import re
from difflib import unified_diff
from pathlib import Path

FOLDER = Path(__file__).parent / "snapshots"
REWRITE = "TAPSCAN_REWRITE_SNAPSHOTS"
PART = re.compile(r"(?:\A|\n)== (.+)\n")


def without_figures(text: str) -> str:
    """Figures that stand alone, and those with a decimal point: not names such as B12, nor days."""
    return re.sub(r"(?<![\w/.-])[-+±\N{MINUS SIGN}]?\d+(?:[.,]\d+)?(?![\w/-])", "#", text)


def same_as_before(
    screen: str, text: str, replaced: dict[str, str] | None = None, folder: Path = FOLDER, part: str | None = None
) -> None:
    """`replaced`: what differs from run to run (folders, days), and what stands for it in the file."""
    for value, word in (replaced or {}).items():
        text = text.replace(value, word)
    shown = "\n".join(line.rstrip() for line in text.splitlines()) + "\n"
    path = folder / f"{screen}.txt"
    if os.environ.get(REWRITE):
        _write(path, shown, part)
        return
    assert path.is_file(), f"no snapshot {path.name}; write it with {REWRITE}=1"
    whole = path.read_text(encoding="utf-8")
    if part:
        assert part in parts(whole), f"no part {part!r} in {path.name}; write it with {REWRITE}=1"
    kept = parts(whole)[part] if part else whole
    diff = "\n".join(unified_diff(kept.splitlines(), shown.splitlines(), "kept", "now", lineterm=""))
    assert kept == shown, (
        f"the words of {screen}{f', {part},' * bool(part)} changed; if that is meant, {REWRITE}=1\n{diff}"
    )


def parts(whole: str) -> dict[str, str]:
    """The parts of a file by their titles."""
    _, *rest = PART.split(whole)
    return dict(zip(rest[::2], rest[1::2], strict=True))


def _write(path: Path, shown: str, part: str | None) -> None:
    path.parent.mkdir(exist_ok=True)
    if part:
        old = parts(path.read_text(encoding="utf-8")) if path.is_file() else {}
        shown = "\n".join(f"== {title}\n{text}" for title, text in sorted({**old, part: shown}.items()))
    path.write_text(shown, encoding="utf-8", newline="\n")
