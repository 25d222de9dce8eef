"""What weakens a test, said in sentences.

limitations(scan, settings, contact)   tuple of sentences; every one names what would mend it
forces_exchanged(scan, settings)   the one on soft and hard taps, or None
places_of_part(scan)               of a part of the plate, how many of its places gave a tap that can be used
"""

from collections import Counter

from tapscan.faults import FAULTS, fault
from tapscan.places import IN_PIANO, STRUNG
from tapscan.records import Scan
from tapscan.screening import untold_room
from tapscan.screening.compressed import limitation
from tapscan.screening.rules.force_dependence import exchanged
from tapscan.settings import Settings
from tapscan.wording import listed

FEW_STATIONS = 6
MOST_NAMED = 4
EXCHANGED = "Soft and hard seem exchanged"
NO_TAP = "not a tap"  # what else such a sound is like teaches nobody to tap better


def forces_exchanged(scan: Scan, settings: Settings) -> str | None:
    """That soft and hard taps were told the wrong way round, and which order would be right."""
    order = exchanged(scan, settings)
    return f"{EXCHANGED}: it sounds as if each place was tapped {', '.join(order)}." if order else None


def limitations(scan: Scan, settings: Settings, contact: bool = False) -> tuple[str, ...]:
    """Sentences in order of weight. contact : known to be recorded by a pickup on the iron."""
    lossy = limitation(scan)
    found = ([lossy] if lossy else []) + _ruled_out(scan) + _exchanged(scan, settings) + _part(scan)
    counts = Counter(fault for s in scan.strikes for fault in ((NO_TAP,) if NO_TAP in s.faults else s.faults))
    total = len(scan.strikes)
    found += [
        f"{n} of {total} taps{_at(scan, f)}: {fault(f).means}. {fault(f).remedy}"
        for f, n in counts.most_common()
        if f in FAULTS
    ]
    stations = {s.station for s in scan.strikes}
    if scan.strikes and len(stations) < FEW_STATIONS:
        more = "" if scan.state in IN_PIANO else ": tap at eight places or more"  # there, few may be struck
        found.append(
            f"Only {len(stations)} {'place was' if len(stations) == 1 else 'places were'} tapped. A flaw elsewhere, "
            f"or one that these taps do not excite, is not heard{more}."
        )
    if scan.state in IN_PIANO:
        found.append(
            "The plate is in the piano, bolted to wood and coupled to strings and case. A scan by itself tells "
            "next to nothing there, and nothing found means little: have it examined bare where that is possible."
        )
    found += _room(scan)
    found += _drift(scan)
    found.append(
        "A crack that is pressed shut, or that opens only under string tension, may not be heard on a bare plate. "
        f"Most partial cracks cannot be told from a single scan at all{_later(scan, contact)}"
    )
    return (*found, *_rates(scan))


def _later(scan: Scan, contact: bool) -> str:
    """What a later scan can make of this one."""
    if scan.state not in IN_PIANO and untold_room.limitation(scan):
        return "."
    if scan.state not in IN_PIANO or contact:
        return ": keep this one to compare with later."
    return ", and this one cannot be compared with a later one: in the piano that takes a pickup on the iron, on the same spot both times."


def _at(scan: Scan, code: str) -> str:
    """A few places are named: there it was tapped so."""
    names = dict.fromkeys(s.station for s in scan.strikes if code in s.faults)
    return f" (at {listed(list(names))})" if len(names) <= MOST_NAMED else ""


def places_of_part(scan: Scan) -> int:
    """Those that must not be struck are no part of it."""
    heard = {s.station for s in scan.strikes if s.usable}
    return len(heard - set(_barred(scan)))


def _part(scan: Scan) -> list[str]:
    """In the piano nothing is asked for: whether the plate may be tapped again there is for the steps to say."""
    if scan.part_of is None or (heard := places_of_part(scan)) >= scan.part_of:
        return []
    may = " that may be tapped in this state" if scan.map and len(scan.map.stations) > scan.part_of else ""
    more = "" if scan.state in IN_PIANO else f": tap all {scan.part_of}"
    return [f"Only {heard} of {scan.part_of} places{may} were tapped{more}."]


def _barred(scan: Scan) -> list[str]:
    """Stations that must not be struck in the state of the plate."""
    return scan.map.barred(scan.state) if scan.map else []


def _exchanged(scan: Scan, settings: Settings) -> list[str]:
    """The first sentence stands on the first screen, and so says what would be right."""
    first = forces_exchanged(scan, settings)
    if first is None:
        return []
    softer = f"The taps called hard were {-(scan.force_step_db or 0.0):.0f} dB softer than those called soft"
    return [f"{first} {softer}, so what needs both was not checked: read the take again in that order."]


def _ruled_out(scan: Scan) -> list[str]:
    """Stations struck in a state in which the layout says they must not be."""
    struck = {s.station for s in scan.strikes}
    wrong = [name for name in _barred(scan) if name in struck]
    if not wrong or scan.map is None:
        return []
    names = listed(wrong)
    why = (
        "Near pins, agraffes and strings a blow can break a string, and the strings ring along in what was heard"
        if scan.state in STRUNG
        else "What was heard there may not be the plate alone"
    )
    return [
        f"The layout {scan.map.name} says not to tap {names} in this state ({scan.state}), but "
        f"{'they were' if len(wrong) > 1 else 'it was'} tapped. {why}. "
        "Do not tap there again: only the bare plate can be tested there."
    ]


def _drift(scan: Scan) -> list[str]:
    """Between the bar's first taps and its last."""
    change = scan.bar.drift if scan.bar else None
    return (
        [f"The reference bar does not end as it began. {' '.join(change.sentences)}"] if change and change.seen else []
    )


def _room(scan: Scan) -> list[str]:
    untold = untold_room.limitation(scan)
    return [*([untold] if untold else []), *_rings_along(scan), *_hidden(scan)]


def _hidden(scan: Scan) -> list[str]:
    if scan.room_limit is None:
        return []
    return [
        f"Above {scan.room_limit.hidden_above_hz / 1000:.1f} kHz the room hides the plate: what dies away there is the room, and no tone is given. "
        "Use a pickup on the iron, or a microphone nearer to it, in a room with more cloth and carpet."
    ]


def _rings_along(scan: Scan) -> list[str]:
    if scan.room is None:
        return []
    low, high = scan.room.t60_low_s, scan.room.t60_high_s
    dies = f", {low:.2g} to {high:.2g} s until it has died away" if low is not None and high is not None else ""
    return [
        f"Another sound continued after the taps{dies}: by microphone the room, by pickup a loose part. Tones and how long they ring are then known less "
        "exactly, and small changes are hard to see. A pickup on the iron hears next to nothing of the room; with one, look for what rattles."
    ]


def _rates(scan: Scan) -> list[str]:
    low = sorted({r.sample_rate_hz for r in scan.recordings if r.sample_rate_hz < 32000})
    if not low:
        return []
    return [f"Recorded at {low[0]} samples a second: nothing above {0.45 * low[0] / 1000:.1f} kHz was looked at."]
