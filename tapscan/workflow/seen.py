"""A form that was opened before somebody else changed what it shows must not undo that change.

mark_of(parts)                what the form carries: a short hash of what it shows
not_changed(mark, parts)      raises BadRequest where that is another one now
"""

import hashlib

from tapscan.errors import BadRequest


def mark_of(*parts: object) -> str:
    """Records and plain values, whose `repr` tells all of them."""
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:16]


def not_changed(mark: str, *parts: object) -> None:
    """An empty mark is of a form that shows nothing that was stored."""
    if mark and mark != mark_of(*parts):
        raise BadRequest(
            "somebody else has changed this since you opened the form; nothing was stored. "
            "Go back, keep what you typed, open it anew and enter it there"
        )
