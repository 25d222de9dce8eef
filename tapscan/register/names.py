"""Names of plates and scans. A name is text: never a path, never part of a query.

clean_name(text)             the name as it is stored, or BadRequest
name_for_new(text)           the same for a plate that is added or renamed: no slash
name_key(name)               what makes two names the same: case and composed letters do not count
plain_key(name)              the same without accents, for looking a name up
scan_name(plate, date, n)    PLATE/DATE[-n]
split_scan_name(text)        plate, date, n; in older registers the plate's own name may hold slashes
"""

import datetime as dt
import re
import unicodedata

from tapscan.errors import WrongUsage
from tapscan.unseen import unseen

LONGEST = 200
SCAN_NAME = re.compile(r"(?P<plate>.+)/(?P<date>\d{4}-\d{2}-\d{2})(?:-(?P<number>[1-9]\d{0,5}))?", re.S)


def clean_name(text: str) -> str:
    """Without blanks around it; refuses what cannot be read on one line. Only for names that are new: older registers hold others."""
    name = text.strip()
    if not name:
        raise WrongUsage("the name of a plate is empty; give it the name that is chalked on it")
    if len(name) > LONGEST:
        raise WrongUsage(f"the name of a plate has {len(name)} characters; {LONGEST} are the most")
    if bad := unseen(name):
        raise WrongUsage(f"the name of a plate holds a character that cannot be shown ({bad!a}); leave it out")
    return name


def name_for_new(text: str) -> str:
    """A clean name for a plate that is added or renamed: older registers may hold names with slashes, new ones do not."""
    name = clean_name(text)
    if "/" in name:
        better = name.replace("/", "-").strip(".-") or "B-12"
        raise WrongUsage(
            f"{name!r} holds a slash, which parts the plate from the day in the name of a scan; write {better}"
        )
    return name


def name_key(name: str) -> str:
    """Case-folded and composed, so that two ways of typing one name meet."""
    return unicodedata.normalize("NFC", name.strip().casefold())


def plain_key(name: str) -> str:
    """The same without accents, for looking a name up."""
    parts = unicodedata.normalize("NFKD", name_key(name))
    return "".join(c for c in parts if unicodedata.category(c) != "Mn")


def scan_name(plate: str, date: dt.date, number: int) -> str:
    """The first scan of a day has no number."""
    return f"{plate}/{date.isoformat()}" + (f"-{number}" if number > 1 else "")


def split_scan_name(text: str) -> tuple[str, dt.date, int]:
    """Raises BadRequest that shows a name that would work."""
    found = SCAN_NAME.fullmatch(text.strip())
    if found is None:
        raise WrongUsage(f"{text!r} is not the name of a scan; write PLATE/DATE, for example B12/2026-03-14")
    return found["plate"], read_date(found["date"]), int(found["number"] or 1)


def read_date(text: str) -> dt.date:
    """A day as YYYY-MM-DD."""
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise WrongUsage(f"{text!r} is not a day; write year-month-day, for example 2026-03-14") from None
