"""Signs that nobody sees, or that no file of text holds: two names that differ by one look alike on every list.

unseen(text)      the first such sign, or None
no_text(text)     whether it holds bytes that are no text
"""

import unicodedata

KINDS = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")
BLANK = "\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0"  # letters and marks without ink
BLANK_RANGES = ((0x180B, 0x180F), (0xFE00, 0xFE0F), (0xE0100, 0xE01EF))  # choose a form of the sign before


def unseen(text: str) -> str | None:
    """Of a blank only the usual one is seen as what it is."""
    return next((c for c in text if _hidden(c)), None)


def no_text(text: str) -> bool:
    """Such bytes come from the command line as lone surrogates."""
    return any(unicodedata.category(c) == "Cs" for c in text)


def _hidden(c: str) -> bool:
    kind = unicodedata.category(c)
    if kind in KINDS or (kind == "Zs" and c != " ") or c in BLANK:
        return True
    return any(first <= ord(c) <= last for first, last in BLANK_RANGES)
