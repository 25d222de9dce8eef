"""A moment as the clock on the shop's wall has it: the clock of the machine that shows it.

What is kept, JSON and CSV are UTC, and a browser is shown the time of the computer that runs tapscan. Days are the shop's own from the start: whoever
types none means today here, so no day is ever taken from a moment in UTC.

clock(utc)       "2026-06-01 12:00", in lists
with_zone(utc)   "2026-06-01 12:00 +02:00", where it may be read elsewhere

`utc` : ISO 8601 as the register has it; what is no time (a damaged file) is shown as it stands.
"""

from datetime import UTC, datetime


def clock(utc: str) -> str:
    """To the minute."""
    return _told(utc)[0]


def with_zone(utc: str) -> str:
    """The same and how far the clock is ahead of UTC."""
    return " ".join(_told(utc))


def _told(utc: str) -> tuple[str, ...]:
    try:
        moment = datetime.fromisoformat(utc)
    except ValueError:
        return (utc,)
    here = (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).astimezone()
    return f"{here:%Y-%m-%d %H:%M}", here.isoformat()[-6:]
