"""A stored scan as a page shows it: how it stands now, what people noted, and sections of the report.

reading_of(register, name)       Reading: quick, without figures that are drawn from recordings
before_and_now(register, name, station)   the same place in the baseline and in this scan, as MP3; None where there is none
report_style()                   the style sheet that its sections need
"""

from markupsafe import Markup
from msgspec import Struct
from msgspec.structs import replace

from tapscan.records import Screening
from tapscan.register.database import Register
from tapscan.register.entries import Plate, ScanEntry
from tapscan.register.outdated import outdated
from tapscan.register.plates import find_plate
from tapscan.register.scans import find_scan
from tapscan.report.about import About
from tapscan.report.extras import Extras
from tapscan.report.first_screen import steps
from tapscan.report.page import first_and_sections, style
from tapscan.report.sections import glossary, indications, map, notes, reach, tested
from tapscan.report.shop import Shop, read_shop
from tapscan.workflow.defaults import read_defaults, see_there
from tapscan.workflow.import_scan import stored_screening
from tapscan.workflow.notices import to_show
from tapscan.workflow.round_words import seen_rows
from tapscan.workflow.standing import Later, later
from tapscan.workflow.write_report import about

QUICK = (indications.SECTION, map.SECTION, notes.SECTION, tested.SECTION, reach.SECTION, glossary.SECTION)


def report_style() -> str:
    """CSS."""
    return style()


class Reading(Struct, frozen=True, eq=False):
    """What was found, what to do, what weakens it, and the report's sections that can be had at once."""

    plate: Plate
    entry: ScanEntry
    screening: Screening
    about: About
    later: tuple[Later, ...]  # what newer scans say
    steps: list[tuple[str, list[str]]]  # whose they are, and what is to be done
    short: Markup  # what people saw and found, where to look first, other causes, how sure, compared with, what limits it: HTML of the report
    workshop: str  # empty where the shop has given no name
    qualified: str  # who a qualified person is, where one is named
    outdated: bool  # what it says no longer fits what is known of it: it is to be read anew
    sections: tuple[tuple[str, str, Markup], ...]  # id, title, HTML


def reading_of(register: Register, name: str, number: int | None = None) -> Reading:
    """`number` : of an earlier screening, as it was stored. Raises UnknownName, BadRequest."""
    entry = find_scan(register, name)
    screening, since = to_show(register, entry, stored_screening(register, entry, number), number)
    shop = shop_of(register)
    plate = find_plate(register, entry.plate, exact=True)
    told = replace(about(plate, entry, shop, seen_rows(register, entry)), since=since)
    first, sections = first_and_sections(screening, told, Extras(shop), QUICK)
    newer, what = later(register, entry), steps(screening.next_steps)
    old = number is None and entry.id in outdated(register, entry.plate)
    said = (first.short, shop.name, first.qualified, old, tuple(sections))
    return Reading(plate, entry, screening, told, newer, what, *said)


def shop_of(register: Register) -> Shop:
    """From the file that the shop's defaults name; without one, a shop without a name."""
    from pathlib import Path

    kept = read_defaults(register.folder).shop
    return read_shop(Path(see_there("shop", kept))) if kept else Shop()
