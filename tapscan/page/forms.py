"""What a request says: names in its address, fields of its form, files that it sends.

asked(request, name)         one value of the address's query
whole_number(text)           of a file, a version, a place in a list
reading_number(text)         which earlier reading of a scan; None: the one that counts
Form(request)                fields of a form that the guard has read: text(), ticked(), typed()
receive(request, file)       the bytes of an upload into an open file
"""

from typing import Protocol

from starlette.requests import Request

from tapscan.errors import BadRequest

LONGEST_TEXT = 20_000
LONGEST_NAME = 200


def asked(request: Request, name: str) -> str:
    """Empty where it is missing."""
    return request.query_params.get(name, "")


def reading_number(text: str) -> int | None:
    """Raises BadRequest for what is no number: another reading than the one that was asked for is never shown in its place."""
    if not text:
        return None
    if not (text.isascii() and text.isdecimal() and len(text) < 6):
        raise BadRequest(f"{text[:20]!r} is no number of a reading; the scan's page lists its earlier readings")
    return int(text)


def whole_number(text: str) -> int:
    """0 for what is none: no file and no version has that number."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 9 else 0


class Form:
    """The last value of a field counts."""

    def __init__(self, request: Request) -> None:
        self.pairs: list[tuple[str, str]] = request.scope.get("form", [])
        self._fields = dict(self.pairs)

    def text(self, name: str) -> str:
        """Without blanks around it. Raises BadRequest for what is longer than anybody types."""
        value = self._fields.get(name, "").strip()
        if len(value) > LONGEST_TEXT:
            raise BadRequest(f"{name}: {len(value)} characters; {LONGEST_TEXT} are the most")
        return value

    def ticked(self, name: str) -> bool:
        """Whether a box was ticked."""
        return bool(self._fields.get(name))

    def every(self, name: str) -> list[str]:
        """All values of a field."""
        return [value for key, value in self.pairs if key == name]

    def typed(self) -> dict[str, str]:
        """All fields but the token."""
        return {name: self.text(name) for name in self._fields if name != "token"}


def file_name(request: Request) -> str:
    """As the sender calls it: text, shown and never used as a path."""
    name = asked(request, "name").replace("\\", "/").rsplit("/", 1)[-1]
    shown = "".join(c if c.isprintable() else " " for c in name).strip()
    return shown[-LONGEST_NAME:] or "recording"


class Takes(Protocol):
    """What bytes are written to."""

    def write(self, piece: bytes, /) -> int:
        """All of them."""


async def receive(request: Request, file: Takes) -> int:
    """Number of bytes. The guard has counted them on the way."""
    size = 0
    async for piece in request.stream():
        file.write(piece)
        size += len(piece)
    if not size:
        raise BadRequest("the file is empty")
    return size
