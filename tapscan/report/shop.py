"""Who made the test, and how figures are written: from a TOML file of the shop's own.

    name = "Kettle Lane Pianos"
    contact = "12 Kettle Lane, by appointment"
    logo = "logo.png"              PNG or JPEG beside the file, 300 kB at most
    units = "metric"               or "inch": pounds, degrees Fahrenheit and Letter paper
    dates = "year-month-day"       or "day.month.year", "month/day/year"

read_shop(path)    Shop; BadSettings with one line on what is wrong
"""

import base64
import datetime as dt
import re
from pathlib import Path

from msgspec import Struct

from tapscan.errors import BadSettings
from tapscan.sources import on_one_line, read_plain
from tapscan.toml_files import NotToml, shown, toml_table, toml_text

LOGO_BYTES = 300_000
PICTURES = {b"\x89PNG\r\n\x1a\n": "image/png", b"\xff\xd8\xff": "image/jpeg"}
UNITS = ("metric", "inch")
ISO = "year-month-day"
DATES = {ISO: "%Y-%m-%d", "day.month.year": "%d.%m.%Y", "month/day/year": "%m/%d/%Y"}
DAY = re.compile(r"(?<![\w/.-])\d{4}-\d{2}-\d{2}(?![\w-])")
KEYS = ("name", "contact", "logo", "units", "dates")


class Shop(Struct, frozen=True):
    """`logo` is a data URI."""

    name: str = ""
    contact: str = ""
    logo: str = ""
    units: str = "metric"
    dates: str = ISO

    @property
    def paper(self) -> str:
        """Of a PDF."""
        return "A4" if self.units == "metric" else "letter"

    def day(self, on: dt.date) -> str:
        """A day as the shop writes it."""
        return on.strftime(DATES[self.dates])

    def dated(self, text: str) -> str:
        """A sentence with its days as the shop writes them; names of scans (PLATE/2026-03-02) stay."""
        return DAY.sub(lambda found: self._day_or_as_it_stands(found[0]), text)

    def _day_or_as_it_stands(self, text: str) -> str:
        try:
            return self.day(dt.date.fromisoformat(text))
        except ValueError:  # no day of the calendar
            return text

    def mass(self, kg: float) -> str:
        """Kilograms or pounds."""
        return f"{kg:g} kg" if self.units == "metric" else f"{kg / 0.45359237:.0f} lb"

    def degrees(self, celsius: float) -> str:
        """Celsius or Fahrenheit."""
        return f"{celsius:g} °C" if self.units == "metric" else f"{celsius * 1.8 + 32:.0f} °F"


def read_shop(path: Path) -> Shop:
    """Raises BadSettings."""
    at = on_one_line(str(path))
    try:
        told = toml_table(toml_text(path))
    except OSError as problem:
        raise BadSettings(f"{at}: cannot be read ({problem.strerror}); check the name") from None
    except NotToml as problem:
        raise BadSettings(f'{at}: is no TOML ({problem}); write lines like name = "Kettle Lane Pianos"') from None
    if strange := [k for k in told if k not in KEYS]:
        raise BadSettings(f"{at}: {shown(strange[0])} is not known here; known are {', '.join(KEYS)}")
    if wrong := [k for k, v in told.items() if not isinstance(v, str)]:
        raise BadSettings(f"{at}: {wrong[0]} must be text between quotes")
    for key, known in (("units", UNITS), ("dates", tuple(DATES))):
        if key in told and told[key] not in known:
            raise BadSettings(f"{at}: {key} = {shown(told[key])} is not known; write {' or '.join(known)}")
    logo = _logo(path.parent / told["logo"], at) if told.get("logo") else ""
    return Shop(**{**told, "logo": logo})


def _logo(picture: Path, at: str) -> str:
    try:
        content = read_plain(picture, 10 * LOGO_BYTES)
    except OSError as problem:
        raise BadSettings(f"{at}: the logo {on_one_line(str(picture))} cannot be read ({problem.strerror})") from None
    kind = next((k for start, k in PICTURES.items() if content.startswith(start)), None)
    if kind is None:
        raise BadSettings(f"{at}: the logo {on_one_line(picture.name)} is neither PNG nor JPEG; save it as one of them")
    if len(content) > LOGO_BYTES:
        raise BadSettings(
            f"{at}: the logo {on_one_line(picture.name)} has {len(content) // 1000} kB; make it smaller than {LOGO_BYTES // 1000} kB"
        )
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"
