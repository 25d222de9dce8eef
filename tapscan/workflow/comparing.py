"""What the comparison's page asks for: the figures, the scans to choose from, and the sound of a place in each.

comparison_of(register, plate, scan, against)   Compared
plainly_compared(register, comparison)          its findings in plain words, and what waits
sound_at(register, scan, station)               MP3 of the clearest tap there; None where there is none to be heard
"""

from collections.abc import Sequence

from msgspec import Struct

from tapscan.errors import UnreadableRecording
from tapscan.places import IN_PIANO
from tapscan.records import Comparison
from tapscan.register.database import Register
from tapscan.register.plates import find_plate
from tapscan.register.results import load_screening
from tapscan.register.scans import find_scan, list_scans
from tapscan.screening.in_words import common_told, tones_told
from tapscan.screening.plain_words import compared_plainly
from tapscan.settings import Settings
from tapscan.workflow.audio_clips import strike_clip
from tapscan.workflow.history import compare_stored
from tapscan.workflow.stored_audio import best_strike, tape_of_register


class Compared(Struct, frozen=True):
    """`stations` : those that can be heard in both, those that the finding names first, then what changed most."""

    plate: str
    comparison: Comparison
    scans: tuple[str, ...]  # by taps, that count, oldest first
    stations: tuple[tuple[str, str], ...]  # name, and where it is
    first: str | None  # the place to listen at first
    in_piano: bool  # then it counts whether one job alone lies between the scans
    plain: tuple[str, ...]  # what was found, without a figure; empty where nothing was
    common: str  # what all tones did together
    tones: str  # how many were compared


def comparison_of(
    register: Register,
    plate: str,
    scan: str | None = None,
    against: Sequence[str] = (),
    one_job: bool | None = None,
) -> Compared:
    """`one_job` as in compare_scans. Raises BadRequest where there is nothing to compare."""
    name = find_plate(register, plate, exact=True).name
    found = compare_stored(register, name, Settings(), scan, against, one_job)
    later = find_scan(register, found.later)
    now = load_screening(register, later.current.id).scan
    before = load_screening(register, find_scan(register, found.baselines[-1]).current.id).scan
    both = [s for s in dict.fromkeys(t.station for t in now.strikes) if best_strike(now, s) and best_strike(before, s)]
    both = named_first(both, found)
    scans = tuple(e.name for e in list_scans(register, name) if not e.played)
    places = tuple((s, dict(now.places).get(s, "")) for s in both)
    plain, common, tones = plainly_compared(register, found), common_told(found), tones_told(found)
    in_piano = later.conditions.state in IN_PIANO
    return Compared(name, found, scans, places, both[0] if both else None, in_piano, plain, common, tones)


def named_first(stations: Sequence[str], found: Comparison) -> list[str]:
    """Those that the finding names, in its order; then by how much the changed tones move there."""
    named = list(dict.fromkeys(s for i in found.indications for s in i.stations))
    moved = {w.station: w.weight for w in found.where}
    return sorted(stations, key=lambda s: (named.index(s) if s in named else len(named), -moved.get(s, 0.0)))


def plainly_compared(register: Register, found: Comparison) -> tuple[str, ...]:
    """As they stand first on the scan's own page."""
    return compared_plainly(found, find_scan(register, found.later).conditions.state)


def sound_at(register: Register, scan: str, station: str) -> bytes | None:
    """As recorded, brought to the same peak as the others."""
    screening = load_screening(register, find_scan(register, scan).current.id)
    try:
        return strike_clip(tape_of_register(register.files, screening.scan), station)
    except UnreadableRecording:
        return None
