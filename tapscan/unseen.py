"""Signs that nobody sees, or that no file of text holds: two names that differ by one look alike on every list.

unseen(text)      the first such sign, or None
as_text(text)     itself; WrongUsage where it holds bytes that are no text
"""

import unicodedata

from tapscan.errors import WrongUsage

KINDS = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")
BLANK = "\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0"  # letters and marks without ink
BLANK_RANGES = ((0x180B, 0x180F), (0xFE00, 0xFE0F), (0xE0100, 0xE01EF))  # choose a form of the sign before


def unseen(text: str) -> str | None:
    """Of a blank only the usual one is seen as what it is."""
    return next((c for c in text if _hidden(c)), None)


def as_text(text: str) -> str:
    """Such bytes come from the command line as lone surrogates, which no register can keep."""
    if any(unicodedata.category(c) == "Cs" for c in text):
        raise WrongUsage(f"{text!a} holds bytes that are no text; type it anew")
    return text


def _hidden(c: str) -> bool:
    kind = unicodedata.category(c)
    if kind in KINDS or (kind == "Zs" and c != " ") or c in BLANK:
        return True
    return any(first <= ord(c) <= last for first, last in BLANK_RANGES)
