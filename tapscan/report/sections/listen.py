"""Small players for the page: sounds as text inside it, so that the page needs nothing else.

players(sounds)    rows for the template, by group, in order
"""

import base64
from collections.abc import Sequence
from typing import Any

from tapscan.report.extras import Sound
from tapscan.report.section import Section, Sheet


def players(sounds: Sequence[Sound]) -> list[tuple[str, list[dict[str, Any]]]]:
    """Each row: title, words, data URI of the sound, drawing or None."""
    groups: dict[str, list[dict[str, Any]]] = {}
    for number, s in enumerate(sounds, 1):
        row = {
            "title": s.title,
            "words": s.words,
            "source": f"data:audio/mpeg;base64,{base64.b64encode(s.mp3).decode()}",
            "picture": _picture(s, number),
            "marked": bool(s.marks_hz),
            "loops": s.before is not None,
        }
        groups.setdefault(s.group, []).append(row)
    return list(groups.items())


def _picture(sound: Sound, number: int) -> object:
    if sound.picture is None:
        return None
    from tapscan.report.figures.tones import before_and_now, time_frequency

    if sound.before is not None:
        return before_and_now(sound.before, sound.picture, sound.marks_hz, sound.title, f"heard-{number}")
    return time_frequency(sound.picture, sound.marks_hz, sound.title, f"heard-{number}")


def _build(sheet: Sheet) -> dict[str, Any] | None:
    found = players(sheet.beside.sounds)
    return {"sounds": found} if found else None


SECTION = Section("listen", "Listen", "listen.html", _build)
