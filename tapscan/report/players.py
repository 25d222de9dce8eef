"""Small players for the page: sounds as text inside it, so that the page needs nothing else.

Sound     a title, what it is in words, and MP3 bytes
player(sound)    rows for the template
"""

import base64
from dataclasses import dataclass


@dataclass(frozen=True, eq=False)
class Sound:
    """`group` is what it belongs to: the title of an indication, or of a quiet place."""

    group: str
    title: str
    words: str
    mp3: bytes
    picture: str | None = None  # data URI of its time and frequency


def players(sounds: tuple[Sound, ...]) -> list[tuple[str, list[dict[str, str]]]]:
    """By group, in order."""
    groups: dict[str, list[dict[str, str]]] = {}
    for s in sounds:
        row = {
            "title": s.title,
            "words": s.words,
            "source": f"data:audio/mpeg;base64,{base64.b64encode(s.mp3).decode()}",
            "picture": s.picture or "",
        }
        groups.setdefault(s.group, []).append(row)
    return list(groups.items())
