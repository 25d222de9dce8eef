"""What the register knows of a plate and a scan, as rows of words for the page.

Head     which piano and which day, where the recordings come from no register
About    the plate, how the scan was made, what the eye saw, what later examinations found
"""

from msgspec import Struct

UNKNOWN = "not written down"


class Head(Struct, frozen=True):
    """As typed; empty where nobody said."""

    piano: str = ""
    day: str = ""  # as the shop writes it


UNNAMED = Head()


class About(Struct, frozen=True):
    """Rows for the page; text as the shop wrote it."""

    plate: str
    scan: str
    tapped: str = ""  # the day, as the shop writes it
    which: str = ""  # pattern and serial number, where they were written down
    by: str = ""  # who tapped
    plate_facts: tuple[tuple[str, str], ...] = ()  # name, value
    scan_facts: tuple[tuple[str, str], ...] = ()
    seen: tuple[tuple[str, str, str], ...] = ()  # what was looked for, answer, note
    since: tuple[str, ...] = ()  # what was seen, found or mended: sentences for the first screen
    later: tuple[str, ...] = ()  # what newer scans say: sentences that stand above all else
    outcomes: tuple[tuple[str, str, str, str, str], ...] = ()  # found, method, by whom, when, note


def told(value: object) -> str:
    """The value, or that nobody wrote it down."""
    return UNKNOWN if value is None or value == "" else str(value)
