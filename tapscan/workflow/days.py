"""Days as the shop types them.

read_day(text, form)   a day, from year-month-day or from the shop's own form; one that may be read in two ways is refused
"""

import datetime as dt
import re

from tapscan.errors import WrongUsage
from tapscan.report.shop import DATES, ISO

PARTS = re.compile(r"(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})")
YEAR_DIGITS, MONTHS = 4, 12


def read_day(text: str, form: str = ISO) -> dt.date:
    """`form` : one of DATES. Year-month-day always works; other forms only where the shop has said that it writes them.

    Raises BadRequest with one line.
    """
    typed = text.strip()
    for known in dict.fromkeys((ISO, form)):
        if _is_in(typed, known):
            try:
                return dt.datetime.strptime(typed, DATES[known]).date()
            except ValueError:
                raise WrongUsage(f"{text!r} is no day of the calendar, read as {known}") from None
    wanted = f"write {_both(form)}, for example {dt.date(2026, 3, 14).strftime(DATES[form])}"
    parts = PARTS.fullmatch(typed)
    if parts is None:
        raise WrongUsage(f"{text!r} is not a day; {wanted}")
    if _two_ways(parts):
        raise WrongUsage(f"{text!r} may be read in more than one way; {wanted}")
    raise WrongUsage(
        f"{text!r} is not how this shop writes days; {wanted} (`tapscan settings default dates=...` sets another form)"
    )


def _two_ways(parts: re.Match[str]) -> bool:
    """Day and month could change places, or the year's century is not told."""
    first, second, last = parts[1], parts[3], parts[4]
    return len(last) < YEAR_DIGITS > len(first) or (
        int(first) != int(second) and max(int(first), int(second)) <= MONTHS
    )


def _is_in(typed: str, form: str) -> bool:
    """By its marks and by the year's four digits."""
    sign = next(c for c in form if not c.isalpha())
    lengths = {"year": r"\d{4}", "month": r"\d{1,2}", "day": r"\d{1,2}"}
    return re.fullmatch(re.escape(sign).join(lengths[part] for part in form.split(sign)), typed) is not None


def _both(form: str) -> str:
    return ISO if form == ISO else f"{form} or {ISO}"
