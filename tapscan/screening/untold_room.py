"""What is not concluded where a room may be in the sound and could not be told from the plate.

    left_in(scan)                   why, in words; None where a pickup listened, where no room was heard, or where it was told apart
    not_comparable_for_room(scans)  why scans are not compared, or None
    as_heard(scan, sensor)          a stored scan, where somebody has said since what listened
    limitation(scan)                the sentence among what weakens a test, or None

The room is told from the plate by the patterns of its modes over the places (signal/plate/room_fit.py), which takes eight of them. With fewer, what comes
back from the walls is fitted as modes of the plate. Counted in bench/few_places.py: rules that read small shifts err so often then that they are not run.
"""

from collections.abc import Sequence

from msgspec.structs import replace

from tapscan.records import IN_PIANO, Scan
from tapscan.records.modes import room_untold
from tapscan.sensors import Sensor
from tapscan.signal.fit.spurious import LEAST_STATIONS

PICKUP = "use a pickup on the iron and enter it as the sensor"
UNTOLD = "a room may be in the sound, and it cannot be told from the plate"


def left_in(scan: Scan) -> str | None:
    """The reason for a RuleNotRun."""
    return f"{UNTOLD} here; {_instead(scan)}" if scan.room_left_in else None


def not_comparable_for_room(scans: Sequence[Scan]) -> str | None:
    """Echoes that pass for modes are never twice the same."""
    spoilt = [s for s in scans if s.room_left_in]
    return f"in one of the scans {UNTOLD}; {_instead(spoilt[0])}" if spoilt else None


def as_heard(scan: Scan, sensor: Sensor) -> Scan:
    """A pickup hears no room; what was read as a pickup's may hold one that nobody could tell apart."""
    if scan.room_left_in and sensor.contact:
        return replace(scan, room_left_in=False)
    untold = room_untold(scan.room_left_in, scan.room, scan.room_reason)
    return replace(scan, room_left_in=True) if untold and not sensor.contact and scan.played is None else scan


def limitation(scan: Scan) -> str | None:
    """What was not checked, and what to do instead."""
    if not scan.room_left_in or not scan.modes:
        return None
    return (
        "A microphone hears the room too, and here it cannot be told from the plate: some of the modes may be the room's. So a tone must stand out "
        f"by more than usual, hard taps were not held against soft ones, and nothing is compared. Better: {_instead(scan)}."
    )


def _instead(scan: Scan) -> str:
    """In the piano nobody is sent to tap at more places."""
    return PICKUP if scan.state in IN_PIANO else f"{PICKUP}, or tap {LEAST_STATIONS} places or more"
