"""Sentences of a screen in one file: `tests/snapshots/<screen>.txt`.

`same_as_before` compares; `TAPSCAN_REWRITE_SNAPSHOTS=1 pytest ...` writes the files anew, and the diff is read before it is committed. What a
screen does (statuses, codes, fields) is asserted in the test itself: a snapshot only keeps its words.
"""

import os
from difflib import unified_diff
from pathlib import Path

FOLDER = Path(__file__).parent / "snapshots"
REWRITE = "TAPSCAN_REWRITE_SNAPSHOTS"


def same_as_before(screen: str, text: str, replaced: dict[str, str] | None = None, folder: Path = FOLDER) -> None:
    """`replaced`: what differs from run to run (folders, days), and what stands for it in the file."""
    for value, word in (replaced or {}).items():
        text = text.replace(value, word)
    shown = "\n".join(line.rstrip() for line in text.splitlines()) + "\n"
    path = folder / f"{screen}.txt"
    if os.environ.get(REWRITE):
        folder.mkdir(exist_ok=True)
        path.write_text(shown, encoding="utf-8", newline="\n")
        return
    assert path.is_file(), f"no snapshot {path.name}; write it with {REWRITE}=1"
    kept = path.read_text(encoding="utf-8")
    diff = "\n".join(unified_diff(kept.splitlines(), shown.splitlines(), "kept", "now", lineterm=""))
    assert kept == shown, f"the words of {screen} changed; if that is meant, {REWRITE}=1\n{diff}"
