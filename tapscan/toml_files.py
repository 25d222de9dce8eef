"""Read TOML that a person wrote: settings, defaults, layouts and the shop's file.

toml_text(path)     its text; OSError with its reason in `strerror`, NotToml
toml_table(text)    the table; NotToml with one line on what is wrong
shown(value)        a key or value as it can be told: on one line, cut short
"""

import re
import tomllib
from pathlib import Path
from typing import Any

from tapscan.sources import on_one_line, read_plain

MOST_BYTES = 1_000_000
DEEPEST = 20  # tables and lists in each other
LARGEST = 2**63 - 1  # a TOML whole number has 64 bits
LONG_KEY = re.compile(r"""(?<![\w"'-])(?:[\w"'-]++[ \t]*+\.[ \t]*+){50}""")  # such keys take tomllib minutes
TOO_DEEP = f"brackets or tables stand too deep in each other; {DEEPEST} deep is the most"
LONGEST, LONGEST_REASON = 60, 200


class NotToml(ValueError):
    """Its text is one line."""


def toml_text(path: Path) -> str:
    """With or without a byte order mark, which some editors put before the first letter."""
    try:
        return read_plain(path, MOST_BYTES).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise NotToml("is not UTF-8 text; save it again as UTF-8") from None


def toml_table(text: str) -> dict[str, Any]:
    """Values within what the rest of tapscan can count with."""
    if LONG_KEY.search(text):
        raise NotToml(TOO_DEEP)
    try:
        table = tomllib.loads(text)
    except RecursionError:
        raise NotToml(TOO_DEEP) from None
    except tomllib.TOMLDecodeError as problem:
        raise NotToml(_cut(on_one_line(" ".join(str(problem).split())), LONGEST_REASON)) from None
    except ValueError:  # Python does not read a number of thousands of digits
        raise NotToml("a whole number in it has too many digits") from None
    _sound(table)
    return table


def _sound(table: dict[str, Any]) -> None:
    level: list[Any] = [table]
    for _ in range(DEEPEST + 1):
        if not level:
            return
        for value in level:
            if isinstance(value, int) and abs(value) > LARGEST:
                raise NotToml(f"{shown(value)} is too large a whole number")
        inner = [v for v in level if isinstance(v, dict | list)]
        level = [one for v in inner for one in (v.values() if isinstance(v, dict) else v)]
    raise NotToml(TOO_DEEP)


def shown(value: object) -> str:
    """As it stands in the file, not longer than a reader cares for."""
    return _cut(repr(value), LONGEST)


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 3]}..."
