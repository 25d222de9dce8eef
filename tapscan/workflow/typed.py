"""Words as a person types them, on the command line or in the page, read as values.

day(text, label, folder)               a day, also in the shop's own form; today when nothing was typed
words(text)                            None for nothing, or `unknown`
number(text, label, low, high, unit)   a number with a point or a comma
celsius(text, label)                   a temperature in a shop
state(text, label)                     a state of the plate

`label` is what the person sees beside the field: an option or a caption. All raise BadRequest with a value that would work.
"""

import datetime as dt
from pathlib import Path

from tapscan.errors import WrongUsage
from tapscan.places import STATES, State
from tapscan.unseen import as_text

CLEAR = ("", "unknown")


def day(text: str | None, label: str, folder: Path) -> dt.date:
    """`folder` : the register's, whose defaults tell how the shop writes days. Raises BadRequest for a day to come."""
    today = dt.date.today()
    if not text:
        return today
    from tapscan.workflow.days import read_day
    from tapscan.workflow.defaults import read_defaults

    on = read_day(text, read_defaults(folder).date_form)
    if on > today:
        raise WrongUsage(f"{label} {on.isoformat()}: that day is still to come; write year-month-day")
    return on


def words(text: str | None) -> str | None:
    """None when nothing was typed, or `unknown`. Raises WrongUsage for bytes that are no text."""
    return None if text is None or text.strip().lower() in CLEAR else as_text(text.strip())


def number(text: str | None, label: str, low: float, high: float, unit: str, guess: str = "") -> float | None:
    """A number in low..high; None for nothing or `unknown`."""
    told = words(text)
    if told is None:
        return None
    try:
        value = float(told.replace(",", "."))
    except ValueError:
        raise WrongUsage(f"{label} {text!r}: write a number of {unit}, for example {high / 2:g}, or unknown") from None
    if not low <= value <= high:
        raise WrongUsage(f"{label} {value:g}: {guess}give {unit} between {low:g} and {high:g}")
    return value


def celsius(text: str | None, label: str) -> float | None:
    """Not in Fahrenheit by mistake."""
    return number(text, label, -30.0, 50.0, "degrees Celsius", "given in Fahrenheit? ")


def state(text: str | None, label: str) -> State | None:
    """Blanks stand for hyphens, capitals do not matter; None for nothing or `unknown`."""
    told = words(text)
    if told is None:
        return None
    for known in STATES:
        if known == told.lower().replace(" ", "-"):
            return known
    raise WrongUsage(f"{label}: {text!r} is unknown; one of {', '.join(STATES)}")
