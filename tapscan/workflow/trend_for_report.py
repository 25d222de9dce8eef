"""A plate's tones through all its scans up to one of them, for the page.

course_of(register, entry)   Course, or None with fewer than two scans in that state, or where these may not be compared
"""

from tapscan.places import IN_PIANO
from tapscan.records import ScanForComparison
from tapscan.register.database import Register
from tapscan.register.entries import ScanEntry
from tapscan.register.scans import list_scans
from tapscan.report.extras import Course, CourseLine
from tapscan.screening.compare.trend import FEWEST, ModeCourse, follow, shared_by
from tapscan.settings import Settings
from tapscan.workflow.history import for_comparison, not_followed, unlike_newest

MOST_LINES = 5
SAID = {"steady": "steady", "drift": "drifts", "step": "one step", None: "too few scans to say"}


def course_of(register: Register, entry: ScanEntry) -> Course | None:
    """Scans after `entry` are not looked at: a page made again says what it said then."""
    upto = [e for e in list_scans(register, entry.plate) if (e.date, e.number) <= (entry.date, entry.number)]
    alike = [e for e in upto if unlike_newest(e, entry, Settings()) is None]
    if entry.played or len(alike) < 2:
        return None
    scans = [for_comparison(register, e) for e in alike]
    if not_followed(scans):
        return None
    contact = all(s.conditions.sensor.contact for s in scans)
    return _course(scans, contact, Settings(), tuple(e.name for e in upto if e not in alike))


def _course(scans: list[ScanForComparison], contact: bool, settings: Settings, left_out: tuple[str, ...]) -> Course:
    found = follow(scans, contact, settings)
    low, high = settings.compare.lowest_hz, settings.compare.highest_hz
    followed = [m for m in found.modes if low <= m.frequency_hz <= high and m.change_ppm[-1] is not None]
    lines = sorted(followed, key=_moved, reverse=True)[:MOST_LINES]
    return Course(
        found.scans,
        found.dates,
        found.shared_ppm,
        tuple(_line(m) for m in sorted(lines, key=lambda m: m.frequency_hz)),
        len(followed),
        FEWEST,
        left_out,
        shared_by(scans[-1].conditions.state in IN_PIANO),
    )


def _moved(m: ModeCourse) -> tuple[bool, float]:
    """Drifts and steps first, then by the last change in its own scatter."""
    return m.course in ("drift", "step"), abs((m.change_ppm[-1] or 0.0) / (m.sd_ppm[-1] or 1.0))


def _line(m: ModeCourse) -> CourseLine:
    return CourseLine(m.frequency_hz, m.change_ppm, m.sd_ppm, SAID[m.course])
