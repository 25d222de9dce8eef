"""Numbers and terms as a reader meets them: the uncertainty beside the value, unknown as a word.

    with_sd(value, sd)             "311.678 ± 0.0083", two significant digits of the standard deviation
    number(value, digits)          significant digits, no exponent for everyday sizes
    decibels(value)                one decimal
    counted(n, word)               "1 tap", "3 taps"
    listed(names, most)            "S1, S2 and S3", cut short in words after `most`
    quantity(value, unit)          "12.2 dB"
    unknown(reason)                the word and why
    minus(text)                    true minus signs
    Notes                          letters for reasons, each reason once
    legible(value)                 what the template prints: never None, nan or a control character

The tables give plain words for states; an unknown term is shown as it stands.
"""

import re
import unicodedata
from collections.abc import Sequence
from math import ceil, exp, floor, isfinite, log10
from typing import Any

from markupsafe import Markup

UNKNOWN = "unknown"

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


def minus(text: str) -> str:
    """Hyphens that stand for a sign before a figure become true minus signs."""
    return re.sub(r"(^|(?<=[\s(]))-(?=\d)", "\N{MINUS SIGN}", text)


def unknown(reason: str | None) -> str:
    """The word and why."""
    return f"{UNKNOWN}: {reason or 'no reason given'}"


def quantity(value: float | str | None, unit: str) -> str:
    """A figure with its unit, three significant digits and no idle zeros; text as it stands."""
    if isinstance(value, str):
        return value
    text = number(value, 3)
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return text if unit == "1" or text == UNKNOWN else f"{text} {unit}"


def with_sd(value: float | None, sd: float | None, scale: float = 1.0, places: int = 7) -> str:
    """Value ± standard deviation, both times `scale`, to two significant digits of the latter, at most `places` decimals."""
    if value is None or not isfinite(value):
        return UNKNOWN
    if sd is None or not isfinite(sd) or sd <= 0:
        return f"{number(value * scale, 4)} ± {UNKNOWN}"
    spread = sd * scale
    wanted = 1 - floor(log10(spread))
    if wanted > places:
        least = 10.0**-places
        told = f"under {least:.{places}f}" if spread < least else f"{ceil(spread / least) * least:.{places}f}"
        return f"{minus(f'{value * scale:.{places}f}')} ± {told}"
    shown = max(0, wanted)
    return f"{minus(f'{round(value * scale, wanted):.{shown}f}')} ± {round(spread, wanted):.{shown}f}"


def number(value: float | None, digits: int = 3) -> str:
    """`digits` significant digits; unknown as a word."""
    if value is None or not isfinite(value):
        return UNKNOWN
    if value == 0:
        return "0"
    places = digits - 1 - floor(log10(abs(value)))
    return minus(f"{round(value, places):.{max(0, min(places, 9))}f}")


def odds(log: float) -> str:
    """From their natural logarithm: "3600 to 1", "1 to 20"; beyond a million they are not told apart."""
    times = number(min(exp(abs(log)), 1e6), 2)
    return f"{times} to 1" if log >= 0 else f"1 to {times}"


def decibels(value: float | None) -> str:
    """One decimal, which is finer than any of these levels is known."""
    return UNKNOWN if value is None or not isfinite(value) else minus(f"{value:.1f}")


def counted(n: int, word: str) -> str:
    """A number with its noun."""
    return f"{n} {word}" if n == 1 else f"{n} {word}s"


def listed(names: Sequence[str], most: int = 24) -> str:
    """Names as a sentence has them."""
    if len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)


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
