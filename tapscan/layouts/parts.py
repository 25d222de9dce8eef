"""One table of a layout's file, and the words that point at it when something in it is wrong.

Part(table, at)   reads keys of `table`; raises BadLayout that begins with `at`
"""

import difflib
import unicodedata
from collections.abc import Sequence
from typing import Any

from msgspec import Struct

from tapscan.errors import BadLayout
from tapscan.places import Point
from tapscan.toml_files import shown


class Part(Struct, frozen=True):
    """A table and where it stands."""

    table: dict[str, Any]
    at: str

    def bad(self, what: str) -> BadLayout:
        """The error to raise."""
        return BadLayout(f"{self.at}: {what}")

    def only(self, known: Sequence[str]) -> None:
        """Refuse a key that is not `known`: it may be a misspelt one."""
        for key in self.table:
            if key not in known:
                near = difflib.get_close_matches(key, known, 1)
                hint = f"{near[0]!r} perhaps?" if near else f"the keys are {', '.join(known)}"
                raise self.bad(f"{shown(key)} is no key here; {hint}")

    def text(self, key: str, default: str | None = None) -> str:
        """Text without line breaks; needed unless there is a default."""
        value = self.table.get(key, default)
        if value is None:
            raise self.bad(f'has no {key}; add a line {key} = "..."')
        if not isinstance(value, str):
            raise self.bad(f'{key} = {shown(value)} is no text; put it in quotes: {key} = "{shown(value)}"')
        if any(unicodedata.category(c) in {"Cc", "Cs"} for c in value):
            raise self.bad(f"{key} = {shown(value)} holds a line break or a control character; write it on one line")
        if default is None and not value.strip():
            raise self.bad(f"{key} is empty; write it out")
        return value.strip()

    def number(self, key: str, low: float, high: float, between: str) -> float:
        """A number from `low` to `high`, which `between` tells in words."""
        value = self.table.get(key)
        if value is None:
            raise self.bad(f"has no {key}; add a line {key} = a number {between}")
        if not _is_number(value) or not low <= value <= high:
            raise self.bad(f"{key} = {shown(value)}; write a number {between}")
        return float(value)

    def perhaps(self, key: str, low: float, high: float, between: str) -> float | None:
        """The same, or None where the line is left out."""
        return self.number(key, low, high, between) if key in self.table else None

    def items(self, key: str) -> list[Any]:
        """A list; empty when the key is not there."""
        value = self.table.get(key, [])
        if not isinstance(value, list):
            raise self.bad(f"{key} = {shown(value)} is no list; put it in square brackets")
        return value

    def point(self, what: str, value: Any) -> Point:
        """[x, y], each 0 to 1."""
        right = isinstance(value, list) and len(value) == 2 and all(_is_number(v) and 0 <= v <= 1 for v in value)
        if not right:
            raise self.bad(f"{what} = {shown(value)}; write [x, y], each from 0 to 1")
        return float(value[0]), float(value[1])


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
