"""Between screening and the register: import a scan, screen it again, read it back.

import_scan(register, plate, paths, new, request, ...)   Kept: what was stored, or why nothing was
rescreen(register, name, settings, ...)                  Kept: a further screening from the kept recordings
store(register, plate, new, screening, settings, paths)  files first, then every row at once
stored_screening(register, entry)                        the Screening that counts
add_photos(register, plate, paths)                       Plate with its photos
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from tapscan import __version__
from tapscan.errors import BadRequest, RegisterProblem, WrongUsage, if_stopped
from tapscan.layouts.tap_corrections import by_tap, each_once, sound_order, sound_places
from tapscan.records import Doubt, RuleNotRun, ScanConditions, ScanForComparison, Screening
from tapscan.records.heard import day_of
from tapscan.register.database import Register
from tapscan.register.entries import KeptFile, NewScan, NewScreening, Plate, ScanEntry
from tapscan.register.files import sha256_of
from tapscan.register.missing_rows import lost_files
from tapscan.register.names import scan_name
from tapscan.register.numbers import next_number_on
from tapscan.register.on_record import plate_on_record
from tapscan.register.plates import add_photo, find_plate
from tapscan.register.results import load_screening, pack_pictures
from tapscan.register.scans import add_screening, find_scan, list_scans, not_crossed_out, scans_holding, store_scan
from tapscan.screening.compare.compare_scans import with_comparison
from tapscan.screening.past_scan import is_before
from tapscan.screening.rules import change_since_baseline
from tapscan.settings import Settings
from tapscan.wording import argument
from tapscan.workers import ALONE, Workers
from tapscan.workflow.ahead import PlacesAhead
from tapscan.workflow.bars import files_of, keep_bar
from tapscan.workflow.check import Agree, Request
from tapscan.workflow.conclude import conclude
from tapscan.workflow.eye import seen_that_day
from tapscan.workflow.history import beside
from tapscan.workflow.identity import doubts_of
from tapscan.workflow.known_since import may_be_compared
from tapscan.workflow.pattern import beside_own_pattern
from tapscan.workflow.photos import looked_at
from tapscan.workflow.played import screened as check
from tapscan.workflow.settings import settings_text
from tapscan.workflow.standing import held_already
from tapscan.workflow.still_open import open_findings

READING = ("per_station", "order", "assign", "skip", "told", "partial", "played", "keys", "one_take")
Sure = Callable[
    [Sequence[Doubt]], bool | None
]  # whether it is this plate, in this order; False stores nothing, None stores it as doubtful


class Kept(Struct, frozen=True):
    """`entry` is None when nothing was stored: a recording could not be read, or the person said no."""

    entry: ScanEntry | None
    screening: Screening | None
    unreadable: tuple[str, ...] = ()


def import_scan(
    register: Register,
    plate: str,
    paths: Sequence[str],
    new: NewScan,
    request: Request,
    workers: Workers = ALONE,
    agree: Agree | None = None,
    sure: Sure = lambda _: None,
    *,
    again: bool = False,
    called: Mapping[str, str] | None = None,
    ahead: PlacesAhead | None = None,
) -> Kept:
    """Screen the recordings and store the scan. Nothing is stored unless every recording can be read.

    sure : asked where the scan sounds like another plate's, or places seem to be exchanged
    called : names of the recordings; without it those of their files. ahead : places listened to before.

    Raises UnknownName for a plate that is not in the register, BadRequest for recordings that are stored already.
    """
    name = find_plate(register, plate, exact=True).name
    if request.played and new.baseline:
        raise BadRequest("played notes are no baseline: later scans are compared by taps; leave --baseline out")
    _check_not_stored(register, () if again else paths)
    request = _of_the_plate(request, new.conditions, called or _called(paths))
    with if_stopped(lambda: "nothing was stored"):
        result = check(paths, request, workers, agree, ahead)
        if result.unreadable or result.screening is None:
            return Kept(None, None, result.unreadable)
        agreed = _made_sure(register, name, result.screening, request, sure)
        if agreed is None:
            return Kept(None, None)
        doubts, request = agreed
        alone = replace(result.screening, doubts=doubts, made_sure=request.sure)
        new = _sound_baseline(register, name, replace(new, reading=_reading(request)), alone)
        screening = _beside_earlier(register, name, new, alone, request.settings)
    new = replace(new, bar=keep_bar(register, request.bar, request.called))
    entry = store(register, name, new, screening, request.settings, paths, again=again, called=request.called)
    return Kept(entry, screening)


def _made_sure(
    register: Register, name: str, screening: Screening, request: Request, sure: Sure
) -> tuple[tuple[Doubt, ...], Request] | None:
    """The doubts that stay. None where the answer was no."""
    doubts = () if request.sure or request.played else doubts_of(register, name, screening.scan, request.settings)
    if not doubts or (answer := sure(doubts)) is None:
        return doubts, request
    return ((), replace(request, sure=True)) if answer else None


def _of_the_plate(request: Request, made: ScanConditions, called: Mapping[str, str]) -> Request:
    return replace(request, state=made.state, contact=made.sensor.contact, pictures=True, called=called)


def _check_not_stored(register: Register, paths: Sequence[str]) -> None:
    if twins := scans_holding(register, _hashes(paths)):
        raise BadRequest(
            f"already stored as {', '.join(twins)}: the same recording; nothing was stored "
            f"(`tapscan scan rescreen {argument(twins[0])}` screens it anew, with --skip 7 where that is no tap, --assign S3=S4 --assign S4=S3 where places were exchanged; "
            "--again stores it a second time)"
        )


def _sound_baseline(register: Register, plate: str, new: NewScan, screening: Screening) -> NewScan:
    """A scan with a finding, or of a plate with one that is open, becomes a baseline only where somebody says why, one that nothing can be compared with never; the reason is kept only where it was needed."""
    if not new.baseline:
        return replace(new, baseline_although=None)
    if screening.doubts or not may_be_compared(new.conditions):
        return replace(new, baseline=False, baseline_although=None)
    found = any(i.interpretation == "relevant" for i in screening.indications)
    day = (new.date, next_number_on(register, plate, new.date))
    if not found and not held_already(open_findings(register, plate, day, screening), ""):
        return replace(new, baseline_although=None)
    return replace(new, baseline=new.baseline and bool(new.baseline_although))


def _beside_earlier(
    register: Register,
    plate: str,
    new: NewScan,
    screening: Screening,
    settings: Settings,
    scan: ScanEntry | None = None,
) -> Screening:
    """With the comparison, and with what is open from earlier scans. `scan`: its entry, where it is stored already."""
    number = scan.number if scan else next_number_on(register, plate, new.date)
    name = scan_name(plate, new.date, number)
    if screening.scan.played is None:
        screening = _beside_baseline(register, plate, new, screening, settings, name)
        screening = beside_own_pattern(register, plate, new.conditions, screening, settings, name)
    record = plate_on_record(register, plate)
    opened = open_findings(register, plate, (new.date, number), screening, scan, record)
    flawed = bool(scan and scan.flaws)
    seen = seen_that_day(record, new.date, () if flawed else new.checklist)
    return conclude(screening, settings, opened, *seen, examined=flawed)


def _beside_baseline(
    register: Register, plate: str, new: NewScan, screening: Screening, settings: Settings, name: str
) -> Screening:
    """With the comparison, where the plate has a baseline from before this scan, which is not part of it."""
    if screening.doubts:
        others = tuple(r for r in screening.rules_not_run if r.rule != change_since_baseline.NAME)
        why = RuleNotRun(change_since_baseline.NAME, f"doubtful: {screening.doubts[0].kind}")
        return replace(screening, rules_not_run=(*others, why))
    entries = list_scans(register, plate)
    baseline = [e for e in entries if e.baseline and is_before(day_of(e.name), day_of(name))]
    if new.baseline or not baseline:
        return screening
    later = ScanForComparison(name, new.date.isoformat(), new.conditions, screening.scan, screening.indications)
    return with_comparison(screening, beside(register, later, baseline, entries, settings), settings)


def store(
    register: Register,
    plate: str,
    new: NewScan,
    screening: Screening,
    settings: Settings,
    paths: Sequence[str],
    *,
    again: bool = False,
    called: Mapping[str, str] | None = None,
) -> ScanEntry:
    """Files first, then every row in one transaction: a scan is there whole, or not at all."""
    called = called or _called(paths)
    kept: dict[str, KeptFile] = {}
    for path in paths:
        file = register.files.keep_file(Path(path), called[path])
        kept.setdefault(file.sha256, file)
    if set(kept) != {r.sha256 for r in screening.scan.recordings}:
        raise RegisterProblem("a recording changed while it was being read; nothing was stored: import it again")
    pictures = _keep_pictures(register, screening)
    return store_scan(register, plate, new, _made(screening, settings), list(kept.values()), pictures, again=again)


def rescreen(
    register: Register, name: str, settings: Settings, workers: Workers = ALONE, changes: Mapping[str, Any] = {}
) -> Kept:
    """Screen a stored scan from its recordings with these settings; the earlier screenings are kept.

    changes : fields of Request that differ from how the recordings were read before
    """
    entry = not_crossed_out(find_scan(register, name))
    before = _fitting(load_screening(register, entry.current.id), changes)
    paths = _paths(register, entry, before)
    request = Request(
        settings=settings,
        layout=before.scan.map,
        state=entry.conditions.state,
        contact=entry.conditions.sensor.contact,
        pictures=True,
        parts_held=before.scan.parts_held,
        called=paths,
        sure=before.made_sure and not entry.unread_from_elsewhere,
        bar=files_of(register, entry.bar),
        stored=True,
        as_split=not set(changes) - {"sure"},
        offers=frozenset({"assign", "skip"}),
        **_read_before(entry.reading),
    )
    request = replace(request, **{**changes, **_said_now(request, before, changes)})
    result = check(list(paths), request, workers)
    if result.unreadable or result.screening is None:
        return Kept(None, None, _damaged(register, entry) or result.unreadable)
    facts = NewScan(entry.date, entry.conditions, baseline=entry.baseline, checklist=entry.checklist)
    doubts = (
        ()
        if request.sure or request.played
        else doubts_of(register, entry.plate, result.screening.scan, settings, entry)
    )
    told = replace(result.screening, doubts=doubts, made_sure=request.sure)
    screening = _beside_earlier(register, entry.plate, facts, told, settings, entry)
    pictures = _keep_pictures(register, screening)
    read = _reading_now(entry, request) if set(changes) & set(READING) else None
    return Kept(add_screening(register, entry.name, _made(screening, settings), pictures, read), screening)


def _fitting(before: Screening, changes: Mapping[str, Any]) -> Screening:
    """Itself. Raises WrongUsage where what is said now of its taps cannot be of this scan."""
    stands = [strike.station for strike in before.scan.strikes]
    sound_places(each_once(changes.get("assign", ())), changes.get("layout") or before.scan.map, stands)
    order, per_station = changes.get("order"), changes.get("per_station")
    if order and per_station and len(order) != per_station:
        raise WrongUsage(f"--order names {len(order)} taps and --per-station {per_station}; leave one of them out")
    if order and not per_station and len(before.scan.recordings) > 1:  # one long take may be split anew
        sound_order(order, stands)
    return before


def _paths(register: Register, entry: ScanEntry, before: Screening) -> dict[str, str]:
    """Path and name of each recording. Raises RegisterProblem where the register lost one that was read before: the answer would rest on less."""
    if lost := lost_files(entry.files, before.scan.recordings):
        raise RegisterProblem(
            f"{entry.name}: the register no longer holds {lost[0]} as a recording of this scan; nothing was changed: restore a backup"
        )
    return {str(register.files.path_of(file.sha256)): file.name for file in entry.files}


def _damaged(register: Register, entry: ScanEntry) -> tuple[str, ...]:
    """A sentence each. Nothing is wrong with a recorder where the stored copy is no longer what was stored."""
    held = ((file, register.files.wrong(file.sha256, file.size_bytes)) for file in entry.files)
    return tuple(
        f"{file.name}: the stored file is damaged ({said}); restore it from a backup" for file, said in held if said
    )


def _said_now(request: Request, before: Screening, changes: Mapping[str, Any]) -> dict[str, Any]:
    """What was said of taps before, and what is said now of them as they stand; the last word counts."""
    said, out = dict(changes.get("assign", ())), {f"T{n}" for n in changes.get("skip", ())}
    stands = {s.id: s.station for s in before.scan.strikes}
    now = [(what, to) for what, to in by_tap(changes.get("assign", ()), stands) if what in said or what not in out]
    assign = (*(a for a in request.assign if a[0] not in dict(now) and a[0] not in out), *now)
    skip = sorted(n for n in {*request.skip, *changes.get("skip", ())} if f"T{n}" not in said)
    noted = () if "order" in changes else request.told  # what was noted of each tap at the plate was told wrongly, too
    return {"assign": assign, "skip": tuple(skip), "told": noted}


def stored_screening(register: Register, entry: ScanEntry, number: int | None = None) -> Screening:
    """The screening that counts, or the one of that number, pictures included."""
    known = {s.number: s for s in entry.screenings}
    if number is not None and number not in known:
        raise BadRequest(f"{entry.name} has no screening {number}; it has {', '.join(map(str, known))}")
    return load_screening(register, (known[number] if number else entry.current).id, pictures=True)


def add_photos(register: Register, plate: str, paths: Sequence[Path]) -> Plate:
    """Photos are kept as they are, each named by its SHA-256. Raises BadRequest for what is no photo, before anything is kept."""
    looked_at(paths)
    found = find_plate(register, plate, exact=True)
    for path in paths:
        found = add_photo(register, found.name, register.files.keep_file(path, path.name))
    return found


def _made(screening: Screening, settings: Settings) -> NewScreening:
    return NewScreening(screening, settings_text(settings), __version__)


def _keep_pictures(register: Register, screening: Screening) -> KeptFile | None:
    content = pack_pictures(screening.pictures)
    return register.files.keep_bytes(content, "pictures.npz") if content else None


def _hashes(paths: Sequence[str]) -> list[str]:
    """Of the files that can be read; the others are told of when they are screened."""
    hashes = []
    for path in paths:
        with suppress(OSError):
            hashes.append(sha256_of(Path(path)))
    return hashes


def _called(paths: Sequence[str]) -> dict[str, str]:
    """The bare names of the files; the whole path where two have the same name."""
    names = [Path(path).name for path in paths]
    return {path: name if names.count(name) == 1 else path for path, name in zip(paths, names, strict=True)}


def _reading(request: Request) -> dict[str, Any]:
    return {key: getattr(request, key) for key in READING if getattr(request, key)}


def _reading_now(entry: ScanEntry, request: Request) -> dict[str, Any]:
    return {**{key: value for key, value in entry.reading.items() if key not in READING}, **_reading(request)}


def _read_before(reading: Mapping[str, Any]) -> dict[str, Any]:
    told = {key: reading[key] for key in READING if key in reading}
    for key in ("order", "skip"):
        if key in told:
            told[key] = tuple(told[key])
    for key in ("assign", "told"):
        if key in told:
            told[key] = tuple((what, which) for what, which in told[key])
    return told
