"""The report's own words: plain words for states and terms, reasons as notes, text from outside made legible.

    Notes             letters for reasons, each reason once
    drops_in_words(c) the largest drops of a comparison, uncapped
    legible(value)    what the template prints: never None, nan or a control character

An unknown term is shown as it stands. Numbers and lists of names: tapscan/wording.py.
"""

import unicodedata
from math import isfinite
from typing import Any

from markupsafe import Markup

from tapscan.records import Comparison
from tapscan.wording import UNKNOWN, minus

MOST_LISTED = 24  # names of a list; more are counted

STATES = {
    "as-found": "as found, in the piano",
    "old-finish": "out of the piano, old finish on it",
    "stripped": "stripped, bare",
    "primed": "primed",
    "finished": "finished",
    "fitted-out": "fitted out, out of the piano",
    "in-piano-unstrung": "in the piano, without strings",
    "strung": "in the piano, strung",
}

ORIGINS = {"plate": "plate", "string": "string", "room": "room", "hum": "mains hum", "unknown": UNKNOWN}
INTERPRETATIONS = {
    "relevant": "relevant: it needs evaluation",
    "nonrelevant": "nonrelevant: explained by something other than a flaw",
    "false": "false: made by the test itself",
}
STATUSES = {
    "new": "new since the earlier scan",
    "unchanged": "unchanged since the earlier scan",
    None: "no earlier scan to compare with",
}


def legible(value: Any) -> Any:
    """Finalizer of the template: unknowns as a word, invisible and direction-turning characters as a box."""
    if isinstance(value, Markup):
        return value
    if value is None or (isinstance(value, float) and not isfinite(value)):
        return UNKNOWN
    if not isinstance(value, str):
        return value
    return "".join("\ufffd" if unicodedata.category(c) in {"Cc", "Cf", "Cs"} else c for c in value)


class Notes:
    """Letters for the reasons why a figure is unknown, each reason once."""

    def __init__(self) -> None:
        self._letters: dict[str, str] = {}

    def letter(self, reason: str | None) -> str:
        """Empty when there is no reason to give."""
        if not reason:
            return ""
        n = len(self._letters)
        tail = "" if n < 26 else str(n // 26)
        return self._letters.setdefault(reason, chr(ord("a") + n % 26) + tail)

    @property
    def rows(self) -> list[tuple[str, str]]:
        """(letter, reason) in the order met."""
        return [(letter, reason) for reason, letter in self._letters.items()]


def drops_in_words(c: Comparison) -> str:
    """The three largest, each with its range and as multiples of its scatter, not capped as the statistic is."""
    told = [
        f"{minus(f'{-p.change_ppm / 1e4:.4f}')} ± {2 * p.change_sd_ppm / 1e4:.4f} % near {p.baseline_hz:.0f} Hz "
        f"({minus(f'{p.normalised_drop:.1f}')} times its scatter)"
        for p in c.largest_drops
    ]
    return "; ".join(told) or "none was judged"
