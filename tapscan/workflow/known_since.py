"""What was put right about a stored scan after its taps were read: the state of the plate, and what listened.

as_known(entry, screening)      the Screening by what is known now; the same object where nothing counts that is new
spared_checks(read_in, now)     whether most checks were left out for a piano in which the plate was not
not_read(entry, screening)      sentences for the first screen on what the checks have not read
may_be_compared(conditions)     whether such a scan is of use as a baseline
apart_by_now(later, earlier)    why two scans are not to be compared by what is known now; empty where they may be
changed(before, after)          what the checks have not read, when it is put right, in a few words; empty where the checks need not know

Checks are only made anew when the scan is read anew. Until then headline and steps go by the state as it is known now, so that nobody is sent to tap a plate
that turns out to be strung; and a scan whose checks were left out for a piano is not called silent because somebody writes that the plate lay on pads.
"""

from msgspec.structs import replace

from tapscan.places import IN_PIANO, State
from tapscan.records import ScanConditions, Screening
from tapscan.register.entries import ScanEntry
from tapscan.report.words import STATES
from tapscan.screening.compare.condition_changes import FEW_PLACES, changed_conditions
from tapscan.screening.untold_room import as_heard
from tapscan.settings import Settings
from tapscan.wording import listed

UNKNOWN = "unknown"
OTHER_STATE = "This scan was read with this state of the plate: {}. By now it is written down as: {}. The checks have not read that yet: read the scan anew."
ONLY_PICKUPS = "in the piano only what a pickup on the iron heard can be compared"
NO_PICKUP = (
    "This scan was read as heard by a pickup, and that is not so, or not known any more. So the room's tones may be among the plate's, and no comparison counts: "
    "read the scan anew."
)


def as_known(entry: ScanEntry, screening: Screening) -> Screening:
    """Indications and numbers stay as they were read."""
    scan = as_heard(screening.scan, entry.conditions.sensor)
    if scan is screening.scan and entry.conditions.state == scan.state:
        return screening
    return replace(screening, scan=replace(scan, state=entry.conditions.state))


def spared_checks(read_in: State | None, now: State | None) -> bool:
    """`now` : as it is written down."""
    return read_in in IN_PIANO and now not in IN_PIANO


def not_read(entry: ScanEntry, screening: Screening) -> list[str]:
    """Of the screening as it is stored."""
    told, scan = [], screening.scan
    if entry.conditions.state != scan.state:
        told.append(OTHER_STATE.format(*(STATES[s] if s else UNKNOWN for s in (scan.state, entry.conditions.state))))
    if as_heard(scan, entry.conditions.sensor).room_left_in and not scan.room_left_in:
        told.append(NO_PICKUP)
    return told


def may_be_compared(conditions: ScanConditions) -> bool:
    """With a later scan made in the same way: of a plate in its piano only what a pickup on the iron heard."""
    return conditions.state not in IN_PIANO or conditions.sensor.contact


def apart_by_now(later: ScanConditions, earlier: ScanConditions) -> str:
    """In sentences."""
    if not (may_be_compared(later) and may_be_compared(earlier)):
        return f"{ONLY_PICKUPS.capitalize()}."
    told = changed_conditions(later, [earlier], FEW_PLACES, Settings())
    return told.refused or told.frequency_refused or ""


def changed(before: ScanConditions, after: ScanConditions) -> str:
    """For whoever has just put it right."""
    new = ["the new state"] if before.state != after.state else []
    new += ["what listened"] if before.sensor.contact != after.sensor.contact else []
    return f"The checks have not read {listed(new)} yet" if new else ""
