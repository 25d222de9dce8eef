"""The shop's reference bars, and their recordings into the register.

named_bar(register, name)         which bar is meant; the only one, or a new one, where nobody says
bar_rows(register, name)          what was heard of it with each scan, in words
keep_bar(register, files, called) KeptBar; its files lie in the folder then
files_of(register, kept)          BarFiles to read them again
"""

from collections.abc import Mapping
from pathlib import Path

from tapscan.errors import BadRequest
from tapscan.estimate import Estimate
from tapscan.records import BarReading
from tapscan.register.bars import find_bar, list_bars, note_bar, readings_of
from tapscan.register.database import Register
from tapscan.register.entries import Bar, KeptBar, KeptFile
from tapscan.register.names import clean_name, name_key
from tapscan.wording import number, with_sd
from tapscan.workflow.bar import USUAL_NAME, BarFiles

__all__ = [
    "TAPS_APART",
    "Bar",
    "BarFiles",
    "bar_rows",
    "files_of",
    "find_bar",
    "keep_bar",
    "list_bars",
    "named_bar",
    "note_bar",
    "readings_of",
]
TAPS_APART = "±: one standard deviation among these taps. A bar that is laid down anew differs by more."


def named_bar(register: Register, name: str | None) -> str:
    """Raises BadRequest where the shop has several and none is named."""
    bars = list_bars(register)
    if name is not None:
        known = next((b.name for b in bars if name_key(b.name) == name_key(name)), None)
        return known or clean_name(name)
    if len(bars) > 1:
        raise BadRequest(
            f"the shop has {len(bars)} reference bars: add --bar-name with one of {', '.join(b.name for b in bars)}"
        )
    return bars[0].name if bars else USUAL_NAME


def bar_rows(register: Register, name: str, newest: int | None = None) -> list[tuple[str, ...]]:
    """Of all scans, or no more than so many: scan, struck before or after, taps used, tones, lowest tone, level, noise. Raises UnknownName."""
    return [
        (entry.name, which, *_words(reading))
        for entry, heard in readings_of(register, name, newest)
        for which, reading in (("before", heard.first), ("after", heard.last))
        if reading
    ]


def _words(reading: BarReading) -> tuple[str, ...]:
    lowest = with_sd(reading.modes[0].frequency) if reading.modes else reading.reason or "unknown"
    level, noise = with_sd(Estimate(reading.level_db, reading.level_sd_db), 1), number(reading.noise_db, 3)
    return f"{reading.used} of {reading.taps}", str(len(reading.modes)), lowest, level, noise


def keep_bar(register: Register, files: BarFiles | None, called: Mapping[str, str]) -> KeptBar | None:
    """`called` : names of the recordings; without it those of their files."""
    if files is None:
        return None

    def kept(paths: tuple[str, ...]) -> tuple[KeptFile, ...]:
        return tuple(register.files.keep_file(Path(p), called.get(p, Path(p).name)) for p in paths)

    return KeptBar(files.name, kept(files.first), kept(files.last))


def files_of(register: Register, kept: KeptBar | None) -> BarFiles | None:
    """None where the scan has no bar."""
    if kept is None:
        return None
    first, last = (tuple(str(register.files.path_of(f.sha256)) for f in some) for some in (kept.first, kept.last))
    return BarFiles(kept.name, first, last)
