"""The page of a stored scan: what tapscan said, the comparison, and what the shop wrote down.

write_report(register, name, path)   the page of one scan, whole or not at all
"""

from pathlib import Path

from tapscan.register.database import Register
from tapscan.register.entries import CHECKLIST, Plate, ScanEntry, full_checklist
from tapscan.register.plates import find_plate
from tapscan.register.scans import find_scan
from tapscan.report.about import About, told
from tapscan.report.page import Beside, render_page, write_page
from tapscan.report.pdf import write_pdf
from tapscan.report.shop import Shop
from tapscan.workflow.hearing import sounds_of
from tapscan.workflow.keep import stored_screening


def write_report(
    register: Register,
    name: str,
    path: Path | None,
    shop: Shop | None = None,
    *,
    summary: bool = False,
    pdf: bool = False,
) -> Path:
    """Write the page of the scan `name` to `path`, else beside where the command runs, named after the scan.

    summary : one page for a buyer. pdf : through WeasyPrint, which is an extra; MissingExtra where it is not there.

    Raises UnknownName for a scan that is not there, OSError where the page cannot be written.
    """
    entry = find_scan(register, name)
    screening = stored_screening(register, entry)
    target = path or Path(f"{_plain(entry.name)}{'-summary' if summary else ''}.{'pdf' if pdf else 'html'}")
    told_of = about(find_plate(register, entry.plate, exact=True), entry, shop or Shop())
    sounds = () if summary or pdf else sounds_of(register, entry, screening)
    beside = Beside(shop, sounds, summary)
    if pdf:
        write_pdf(render_page(screening, told_of, beside), target)
    else:
        write_page(screening, target, told_of, beside)
    return target


def about(plate: Plate, entry: ScanEntry, shop: Shop) -> About:
    """Rows of words of what the register knows."""
    return About(
        tapped=shop.day(entry.date),
        plate=plate.name,
        scan=entry.name,
        plate_facts=(
            ("Plate", plate.name),
            ("Pattern", told(plate.pattern)),
            ("Serial number", told(plate.serial)),
            ("Mass", told(None if plate.mass_kg is None else shop.mass(plate.mass_kg))),
        ),
        scan_facts=_scan_facts(entry, shop),
        seen=tuple((CHECKLIST[f.item], f.answer, f.note or "") for f in full_checklist(entry.checklist)),
        outcomes=tuple((o.found, o.method, o.by_whom, shop.day(o.on), o.note or "") for o in entry.outcomes),
    )


def _scan_facts(entry: ScanEntry, shop: Shop) -> tuple[tuple[str, str], ...]:
    c = entry.conditions
    fittings = None if c.fittings is None else ", ".join(c.fittings) or "none; somebody looked"
    return (
        ("Scan", f"{entry.name}{', part of the baseline' if entry.baseline else ''}"),
        ("Supports", told(c.supports)),
        ("Iron", told(None if c.iron_c is None else shop.degrees(c.iron_c))),
        ("Air", told(None if c.air_c is None else shop.degrees(c.air_c))),
        ("Hours in the room", told(None if c.hours_in_room is None else f"{c.hours_in_room:g}")),
        ("Sensor", told(c.sensor)),
        ("Place of the sensor", told(c.sensor_place)),
        ("Hammer", told(c.hammer)),
        ("Left on the plate", told(fittings)),
        ("Tapped by", told(entry.operator)),
        ("Notes", told(entry.notes)),
    )


def _plain(name: str) -> str:
    """A scan's name as a file name: letters, digits, points and dashes, never a path or a hidden file."""
    return "".join(c if c.isalnum() or c in "-." else "_" for c in name).lstrip(".") or "scan"
