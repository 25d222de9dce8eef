"""Days as the shop types them.

read_day(text, form)   a day, from year-month-day or from the shop's own form; one that may be read in two ways is refused
"""

import datetime as dt
import re

from tapscan.errors import BadRequest
from tapscan.report.shop import DATES, ISO

PARTS = re.compile(r"(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})")


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
                raise BadRequest(f"{text!r} is no day of the calendar, read as {known}") from None
    example = dt.date(2026, 4, 14).strftime(DATES[form])
    if PARTS.fullmatch(typed):
        raise BadRequest(
            f"{text!r} may be read in more than one way; write {_both(form)}, for example {example} "
            "(`tapscan settings default dates=day.month.year` lets you write 14.4.2026)"
        )
    raise BadRequest(f"{text!r} is not a day; write {_both(form)}, for example {example}")


def _is_in(typed: str, form: str) -> bool:
    """By its marks and by the year's four digits."""
    sign = next(c for c in form if not c.isalpha())
    lengths = {"year": r"\d{4}", "month": r"\d{1,2}", "day": r"\d{1,2}"}
    return re.fullmatch(re.escape(sign).join(lengths[part] for part in form.split(sign)), typed) is not None


def _both(form: str) -> str:
    return ISO if form == ISO else f"{form} or {ISO}"
