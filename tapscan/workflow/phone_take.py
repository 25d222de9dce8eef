"""A recording that loses sound by its codec, as a phone's does: the shop's pickup hardly made it.

not_taken(files, sensor)   a sentence where the shop's default sensor was not taken for such files, or None
asked_of(files, sensor)    a question beside a form's field that says this sensor, or None

files : paths, and what each is called; sensor : what would be written down. Only a pickup is doubted.
"""

from collections.abc import Mapping
from pathlib import Path

from tapscan.errors import UnreadableRecording
from tapscan.recording.compressed import compression_of
from tapscan.recording.files import codec_of
from tapscan.wording import listed

MOST_NAMED = 2


def not_taken(files: Mapping[str, str], sensor: str | None) -> str | None:
    """For the command line."""
    told = _as_a_phone(files, sensor)
    return told and f"{told}: the shop's sensor ({sensor}) was not taken"


def asked_of(files: Mapping[str, str], sensor: str | None) -> str | None:
    """For the page."""
    told = _as_a_phone(files, sensor)
    return told and f"{told}: did a pickup on the iron listen?"


def _as_a_phone(files: Mapping[str, str], sensor: str | None) -> str | None:
    names = [name for path, name in files.items() if _loses_sound(Path(path))] if sensor == "contact" else []
    verb = "is" if len(names) == 1 else "are"
    return f"{listed(names, MOST_NAMED)} {verb} compressed, as a phone records" if names else None


def _loses_sound(path: Path) -> bool:
    try:
        return compression_of(codec_of(path)) is not None
    except UnreadableRecording:  # whoever reads it for its sound tells why
        return False
