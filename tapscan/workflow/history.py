"""A plate's stored scans beside each other: the comparison with its baseline, and its history.

for_comparison(register, entry)                    ScanForComparison from what is stored; nothing is computed anew
baseline_of(register, plate)                       the baseline scans
compare_stored(register, plate, settings, ...)     Comparison of one scan with the baseline, or with scans named
beside(register, later, baselines, entries, settings)   the same of records; what was scanned since tells how the plate repeats
not_followed(scans)                                why their tones are not followed through time, or None
history_of(register, plate, settings)              History: every scan, and its modes through time
"""

from collections.abc import Sequence

from msgspec import Struct
from msgspec.structs import replace

from tapscan.errors import BadRequest, NothingToCompare, StillDoubted
from tapscan.places import IN_PIANO
from tapscan.records import BesidePattern, Comparison, Indication, ScanForComparison, Screening
from tapscan.register.database import Register
from tapscan.register.entries import BY_MISTAKE, ScanEntry
from tapscan.register.plates import find_plate
from tapscan.register.results import load_screening
from tapscan.register.scans import find_scan, list_scans, not_crossed_out
from tapscan.register.visits import list_visits
from tapscan.screening.compare.compare_scans import compare_scans
from tapscan.screening.compare.condition_changes import sensor_changed
from tapscan.screening.compare.trend import ModeCourse, Trend, follow
from tapscan.screening.disposition import doubted
from tapscan.screening.piano.compare import no_pickup
from tapscan.screening.untold_room import as_heard, not_comparable_for_room
from tapscan.settings import Settings
from tapscan.wording import argument, small
from tapscan.workflow.stored_audio import with_codecs
from tapscan.workflow.where import models_folder

__all__ = [
    "History",
    "ModeCourse",
    "Past",
    "Trend",
    "baseline_of",
    "compare_stored",
    "doubted",
    "for_comparison",
    "history_of",
]


class Past(Struct, frozen=True):
    """One scan of a plate's history."""

    entry: ScanEntry
    modes: int
    relevant: tuple[Indication, ...]
    pattern: BesidePattern | None = None  # where it lay among plates of its pattern


class History(Struct, frozen=True):
    """All scans of a plate, oldest first."""

    plate: str
    past: tuple[Past, ...]
    trend: Trend | None  # None: fewer than two scans
    unlike: tuple[str, ...]  # scans left out of the trend, and why
    in_piano: bool = False  # the newest scan was made there
    not_followed: str | None = None  # why there is no trend although there are scans enough
    taken_back: tuple[str, ...] = ()  # what had been noted on visits by mistake


def own_indications(screening: Screening) -> tuple[Indication, ...]:
    """What the rules said of the scan alone."""
    return screening.comparison.carried if screening.comparison else screening.indications


def for_comparison(register: Register, entry: ScanEntry) -> ScanForComparison:
    """As the scan was stored; of an older one the codecs of its kept recordings are looked at first."""
    screening = load_screening(register, entry.current.id)
    return _beside(entry, replace(screening, scan=with_codecs(screening.scan, register.files)))


def _beside(entry: ScanEntry, screening: Screening) -> ScanForComparison:
    own, scan = own_indications(screening), as_heard(screening.scan, entry.conditions.sensor)
    return ScanForComparison(entry.name, entry.date.isoformat(), entry.conditions, scan, own)


def unlike_newest(entry: ScanEntry, newest: ScanEntry, settings: Settings) -> str | None:
    """Why modes cannot be followed from this scan to the newest one, in a word or two; None where they can."""
    was, now = entry.conditions, newest.conditions
    if entry.played:
        return "notes played, not tapped"
    if doubt := doubted(entry.current.headline):
        return f"doubtful: {doubt}"
    if was.state != now.state:
        return was.state or "state unknown"
    return "sensor changed since" if sensor_changed(was.sensor, now.sensor, settings) else None


def baseline_of(register: Register, plate: str) -> list[ScanEntry]:
    """Oldest first."""
    return [entry for entry in list_scans(register, plate) if entry.baseline]


def compare_stored(
    register: Register,
    plate: str,
    settings: Settings,
    scan: str | None = None,
    against: Sequence[str] = (),
    one_job: bool | None = None,
) -> Comparison:
    """The newest scan, or `scan`, beside the baseline, or beside the scans `against`; `one_job` as in compare_scans."""
    name = find_plate(register, plate).name
    entries = list_scans(register, name)
    baselines = [_of_plate(register, a, name) for a in dict.fromkeys(against)] or [e for e in entries if e.baseline]
    if not baselines:
        raise NothingToCompare(
            f"{name} has no baseline: `tapscan plate baseline {argument(name)} SCAN` names one, or give --against SCAN",
            name,
        )
    taken = {b.name for b in baselines}
    later = (
        _of_plate(register, scan, name)
        if scan
        else next((e for e in reversed(entries) if e.name not in taken and not e.played), None)
    )
    if later is None:
        raise NothingToCompare(f"{name} has no scan beside its baseline: scan it again, then compare", name)
    for entry in (later, *(b for b in baselines if not b.baseline_although)):
        _made_sure(register, entry)
    return beside(register, for_comparison(register, later), baselines, entries, settings, one_job)


def _made_sure(register: Register, entry: ScanEntry) -> None:
    """Raises StillDoubted: a comparison of two plates, or of places exchanged, says nothing and sounds like a finding, or like none."""
    if not (doubt := doubted(entry.current.headline)):
        return
    said = " ".join(d.sentence for d in load_screening(register, entry.current.id).doubts)
    raise StillDoubted(
        f"{entry.name} is doubtful ({doubt}), so it is not compared and nothing is concluded. {said} Where somebody has made sure that it is this plate, in this "
        f"order: `tapscan scan rescreen {argument(entry.name)} --same-plate`; where it is another plate's: `tapscan scan move {argument(entry.name)} PLATE`",
        entry.name,
    )


def beside(
    register: Register,
    later: ScanForComparison,
    baselines: Sequence[ScanEntry],
    entries: Sequence[ScanEntry],
    settings: Settings,
    one_job: bool | None = None,
) -> Comparison:
    """The later scan beside the baseline; where that is one scan, or of one day, those of `entries` made since then and before it in the same way show how the plate repeats."""
    again: list[ScanForComparison] = []
    if later.conditions.state in IN_PIANO:
        again = [for_comparison(register, e) for e in _same_visit(later, baselines, entries, settings)]
    elif len({b.date for b in baselines}) == 1:
        since = [
            e
            for e in _up_to(later, entries)
            if e.date > baselines[0].date
            and not (e.baseline or e.crossed_out or e.played or doubted(e.current.headline))
        ]
        again = [for_comparison(register, e) for e in since if e.name != later.name and _alike(e, later, settings)]
    earlier = [for_comparison(register, b) for b in baselines]
    return compare_scans(later, earlier, settings, models_folder(), again, one_job)


def _up_to(later: ScanForComparison, entries: Sequence[ScanEntry]) -> list[ScanEntry]:
    """What came after it does not tell how the plate was: an old scan that is read anew, or comes in late, would lose what was found in it."""
    upto = next((n for n, e in enumerate(entries) if e.name == later.name), len(entries))
    return [e for e in entries[:upto] if e.date.isoformat() <= later.date[:10]]


def _same_visit(
    later: ScanForComparison, baselines: Sequence[ScanEntry], entries: Sequence[ScanEntry], settings: Settings
) -> list[ScanEntry]:
    """Scans of the later one's day, made in the same way after every one that it is held against: on one day a job has a before and an after."""
    earlier = {b.name for b in baselines}
    last = max((n for n, e in enumerate(entries) if e.name in earlier), default=-1)
    if any(e.name == later.name for e in entries[: last + 1]):
        return []
    return [
        e
        for e in entries[last + 1 :]
        if e.date.isoformat() == later.date[:10]
        and e.name != later.name
        and not (e.baseline or e.crossed_out or e.played or doubted(e.current.headline))
        and _alike(e, later, settings)
    ]


def _alike(entry: ScanEntry, later: ScanForComparison, settings: Settings) -> bool:
    """Made in the same state, on the same supports, by the same sensor in the same place."""
    was, now = entry.conditions, later.conditions
    same = (was.state, was.supports, was.fittings) == (now.state, now.supports, now.fittings)
    return same and sensor_changed(was.sensor, now.sensor, settings) is None


def _of_plate(register: Register, scan: str, plate: str) -> ScanEntry:
    entry = find_scan(register, scan if "/" in scan else f"{plate}/{scan}")
    if entry.plate != plate:
        raise BadRequest(f"{entry.name} is not a scan of {plate}; a plate is compared with its own scans")
    if entry.played:
        raise BadRequest(f"{entry.name} is of played notes; only scans by taps are compared")
    return not_crossed_out(entry)


def history_of(register: Register, plate: str, settings: Settings) -> History:
    """Modes are followed through the scans that were made in the newest scan's state, by the same sensor."""
    name = find_plate(register, plate).name
    back = tuple(f"{v.name}: {small(BY_MISTAKE)} {b.told}" for v in list_visits(register, name) for b in v.taken_back)
    every = list_scans(register, name, void=True)
    heard = [load_screening(register, e.current.id) for e in every]
    past = tuple(
        Past(e, len(s.scan.modes), tuple(i for i in s.indications if i.interpretation == "relevant"), s.pattern)
        for e, s in zip(every, heard, strict=True)
    )
    counting = [(e, s) for e, s in zip(every, heard, strict=True) if not e.crossed_out]
    tapped = [e for e, _ in counting if not e.played]
    tapped = [e for e in tapped if not doubted(e.current.headline)] or tapped
    if not counting:
        return History(name, past, None, (), taken_back=back)
    entries, screenings = [e for e, _ in counting], [s for _, s in counting]
    newest = tapped[-1] if tapped else entries[-1]
    why = {e.name: unlike_newest(e, newest, settings) for e in entries}
    alike = [_beside(e, s) for e, s in zip(entries, screenings, strict=True) if why[e.name] is None]
    left_out = tuple(f"{name} ({reason})" for name, reason in why.items() if reason)
    contact, why_not = all(scan.conditions.sensor.contact for scan in alike), not_followed(alike)
    trend = follow(alike, contact, settings) if len(alike) > 1 and not why_not else None
    return History(name, past, trend, left_out, newest.conditions.state in IN_PIANO, why_not, back)


def not_followed(scans: Sequence[ScanForComparison]) -> str | None:
    """Of scans of one state: what forbids to compare them forbids to follow their tones."""
    if scans and scans[-1].conditions.state in IN_PIANO:
        return no_pickup(*scans)
    return not_comparable_for_room([s.scan for s in scans])
