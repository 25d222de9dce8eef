"""The page of a stored scan: what tapscan said, the comparison, and what the shop wrote down.

write_report(register, name, path)   the page of one scan, whole or not at all
"""

from pathlib import Path

from tapscan.register.database import Register
from tapscan.register.entries import CHECKLIST, Plate, ScanEntry, full_checklist
from tapscan.register.plates import find_plate
from tapscan.register.scans import find_scan
from tapscan.report.about import About, told
from tapscan.report.page import write_page
from tapscan.workflow.keep import stored_screening


def write_report(register: Register, name: str, path: Path | None) -> Path:
    """Write the page of the scan `name` to `path`, else beside where the command runs, named after the scan.

    Raises UnknownName for a scan that is not there, OSError where the page cannot be written.
    """
    entry = find_scan(register, name)
    screening = stored_screening(register, entry)
    target = path or Path(f"{_plain(entry.name)}.html")
    write_page(screening, target, about(find_plate(register, entry.plate, exact=True), entry))
    return target


def about(plate: Plate, entry: ScanEntry) -> About:
    """Rows of words of what the register knows."""
    return About(
        plate=plate.name,
        scan=entry.name,
        plate_facts=(
            ("Plate", plate.name),
            ("Pattern", told(plate.pattern)),
            ("Serial number", told(plate.serial)),
            ("Mass", told(None if plate.mass_kg is None else f"{plate.mass_kg:g} kg")),
        ),
        scan_facts=_scan_facts(entry),
        seen=tuple((CHECKLIST[f.item], f.answer, f.note or "") for f in full_checklist(entry.checklist)),
        outcomes=tuple((o.found, o.method, o.by_whom, o.on.isoformat(), o.note or "") for o in entry.outcomes),
    )


def _scan_facts(entry: ScanEntry) -> tuple[tuple[str, str], ...]:
    c = entry.conditions
    fittings = None if c.fittings is None else ", ".join(c.fittings) or "none; somebody looked"
    return (
        ("Scan", f"{entry.name}{', part of the baseline' if entry.baseline else ''}"),
        ("Supports", told(c.supports)),
        ("Iron", told(_degrees(c.iron_c))),
        ("Air", told(_degrees(c.air_c))),
        ("Hours in the room", told(None if c.hours_in_room is None else f"{c.hours_in_room:g}")),
        ("Sensor", told(c.sensor)),
        ("Place of the sensor", told(c.sensor_place)),
        ("Hammer", told(c.hammer)),
        ("Left on the plate", told(fittings)),
        ("Tapped by", told(entry.operator)),
        ("Notes", told(entry.notes)),
    )


def _degrees(celsius: float | None) -> str | None:
    return None if celsius is None else f"{celsius:g} °C"


def _plain(name: str) -> str:
    """A scan's name as a file name: letters, digits, points and dashes, never a path or a hidden file."""
    return "".join(c if c.isalnum() or c in "-." else "_" for c in name).lstrip(".") or "scan"
