"""The page of a scan: what tapscan said, the comparison, what the shop wrote down, what can be heard.

write_report(register, name, path, wish)    the page of a stored scan, whole or not at all
write_check_page(screening, path, wish)     the page of recordings that are in no register
page_name(scan, wish)                       the file's name where nobody gave one
"""

import datetime as dt
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from tapscan.records import Screening
from tapscan.register.database import Register
from tapscan.register.entries import Plate, ScanEntry
from tapscan.register.plates import find_plate
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans, scan_or_newest
from tapscan.report.about import About, Head, told
from tapscan.report.extras import Extras
from tapscan.report.page import render_page, write_page
from tapscan.report.pdf import write_pdf
from tapscan.report.shop import Shop
from tapscan.workflow.audio_clips import decays_of, sounds_of
from tapscan.workflow.import_scan import stored_screening
from tapscan.workflow.notices import to_show
from tapscan.workflow.round_words import seen_rows
from tapscan.workflow.standing import later
from tapscan.workflow.stored_audio import Tape, tape_of_files, tape_of_register
from tapscan.workflow.trend_for_report import course_of


class Wish(Struct, frozen=True):
    """How the page is wanted."""

    shop: Shop | None = None
    summary: bool = False  # one page for a buyer
    pdf: bool = False  # through WeasyPrint, which is an extra
    whom: str = ""  # whom the page is for
    full: bool = False  # every section, not the three or four printed pages
    piano: str = ""  # for recordings that are in no register
    on: dt.date | None = None  # the same: when they were made


PLAIN = Wish()


def page_name(scan: str, wish: Wish = PLAIN) -> Path:
    """PLATE_DATE.html, with -summary before the ending where it is one."""
    return Path(f"{_plain(scan)}{'-summary' if wish.summary else ''}.{'pdf' if wish.pdf else 'html'}")


def write_report(
    register: Register, name: str, path: Path | None, wish: Wish = PLAIN, number: int | None = None
) -> Path:
    """Write the page of the scan `name` (or the newest one of the plate `name`) to `path`, else beside where the command runs, named after the scan.

    number : of an earlier screening, which is shown as it was stored

    Raises UnknownName for a scan that is not there, MissingExtra for a PDF without WeasyPrint, OSError where the page cannot be written.
    """
    entry = scan_or_newest(register, name)
    screening, since = to_show(register, entry, stored_screening(register, entry, number), number)
    target = path or page_name(entry.name, wish)
    told_of = about(
        find_plate(register, entry.plate, exact=True), entry, wish.shop or Shop(), seen_rows(register, entry)
    )
    told_of = replace(told_of, since=since, later=tuple(n.told for n in later(register, entry)))
    beside = (
        Extras(wish.shop, summary=True, whom=wish.whom) if wish.summary else _beside(register, entry, screening, wish)
    )
    if wish.pdf:
        write_pdf(render_page(screening, told_of, beside), target, (wish.shop or Shop()).paper)
    else:
        write_page(screening, target, told_of, beside)
    return target


def write_check_page(screening: Screening, path: Path, wish: Wish = PLAIN, before: Tape | None = None) -> None:
    """`before` : the scan it was compared with, if any. Raises OSError where the page cannot be written."""
    now = tape_of_files(screening.scan)
    head = Head(wish.piano, (wish.shop or Shop()).day(wish.on) if wish.on else "")
    decays = decays_of(now, screening) if wish.full else ()
    beside = Extras(wish.shop, sounds_of(now, before, screening), decays, head=head, full=wish.full)
    write_page(screening, path, None, beside)


def _beside(register: Register, entry: ScanEntry, screening: Screening, wish: Wish) -> Extras:
    now = tape_of_register(register.files, screening.scan)
    sounds = () if wish.pdf else sounds_of(now, _baseline(register, entry), screening)
    decays = decays_of(now, screening) if wish.full else ()
    return Extras(wish.shop, sounds, decays, course_of(register, entry), whom=wish.whom, full=wish.full)


def _baseline(register: Register, entry: ScanEntry) -> Tape | None:
    earlier = [e for e in list_scans(register, entry.plate) if e.baseline and e.name != entry.name]
    if entry.baseline or not earlier:
        return None
    return tape_of_register(register.files, load_screening(register, earlier[-1].current.id).scan)


def about(plate: Plate, entry: ScanEntry, shop: Shop, seen: tuple[tuple[str, str, str], ...]) -> About:
    """Rows of words of what the register knows; `seen` : of round_words.seen_rows."""
    return About(
        tapped=shop.day(entry.date),
        which=", ".join(filter(None, [plate.pattern, plate.serial and f"serial number {plate.serial}"])),
        by=entry.operator or "",
        plate=plate.name,
        scan=entry.name,
        plate_facts=(
            ("Plate", plate.name),
            ("Pattern", told(plate.pattern)),
            ("Serial number", told(plate.serial)),
            ("Kind", told(plate.kind)),
            ("Mass", told(None if plate.mass_kg is None else shop.mass(plate.mass_kg))),
        ),
        scan_facts=_scan_facts(entry, shop),
        seen=seen,
        outcomes=tuple((o.found, o.method, o.by_whom, shop.day(o.on), o.note or "") for o in entry.outcomes),
    )


def _scan_facts(entry: ScanEntry, shop: Shop) -> tuple[tuple[str, str], ...]:
    c = entry.conditions
    fittings = None if c.fittings is None else ", ".join(c.fittings) or "none (checked)"
    return (
        ("Scan", f"{entry.name}{', part of the baseline' if entry.baseline and not entry.crossed_out else ''}"),
        ("Supports", told(c.supports)),
        ("Iron", told(None if c.iron_c is None else shop.degrees(c.iron_c))),
        ("Iron, other end", told(None if c.iron_end_c is None else shop.degrees(c.iron_end_c))),
        ("Air", told(None if c.air_c is None else shop.degrees(c.air_c))),
        ("Hours in the room", told(None if c.hours_in_room is None else f"{c.hours_in_room:g}")),
        ("Sensor", told(c.sensor.kind)),
        ("About the sensor", told(c.sensor.note)),
        ("Mass of the sensor", told(None if c.sensor.mass_g is None else f"{c.sensor.mass_g:g} g")),
        ("Place of the sensor", told(c.sensor.place)),
        ("Hammer", told(c.hammer)),
        ("Reference bar", entry.bar.name if entry.bar else "not tapped"),
        ("Left on the plate", told(fittings)),
        ("Tapped by", told(entry.operator)),
        ("Notes", told(entry.notes)),
    )


def _plain(name: str) -> str:
    """A scan's name as a file name: letters, digits, points and dashes, never a path or a hidden file."""
    return "".join(c if c.isalnum() or c in "-." else "_" for c in name).lstrip(".") or "scan"
