"""Screen recordings: listen, assign stations, estimate modes, run the rules.

check(paths, request, progress)   CheckResult: the screening of what could be read, and what could not
"""

from collections.abc import Callable, Iterable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field

from threadpoolctl import threadpool_limits

from tapscan.errors import UnreadableRecording
from tapscan.layouts import Layout
from tapscan.records import Force, Scan, Screening, Segment, State
from tapscan.screening.disposition import dispose
from tapscan.screening.limitations import limitations
from tapscan.screening.notes import with_notes
from tapscan.screening.rules import run_rules
from tapscan.settings import Settings, settings_sha256
from tapscan.signal.merging import merge
from tapscan.workflow.listen import Heard, cut, listen
from tapscan.workflow.station import StationResult, analyse_station, mark_cut_short
from tapscan.workflow.stations import forces, shortfalls, split, station_of_file

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Request:
    """How the recordings are to be understood."""

    settings: Settings = field(default_factory=Settings)
    layout: Layout | None = None
    state: State | None = None
    per_station: int | None = None
    order: tuple[Force, ...] | None = None
    pictures: bool = False


@dataclass(frozen=True)
class CheckResult:
    """`screening` is None when nothing at all could be read."""

    screening: Screening | None
    unreadable: tuple[str, ...]
    repeated: tuple[str, ...]


def quiet(stage: str, done: int, total: int) -> None:
    """Progress that nobody watches."""


def check(paths: Sequence[str], request: Request, progress: Progress = quiet) -> CheckResult:
    """Screen the recordings at `paths` on their own."""
    unreadable: list[str] = []
    with ExitStack() as stack:
        stack.enter_context(threadpool_limits(1))  # small matrices: more threads only wait for each other
        heard, repeated = _listen_all(paths, request.settings, unreadable, progress, stack)
        if not heard:
            return CheckResult(None, tuple(unreadable), tuple(repeated))
        plan, notes = _assign(heard, request)
        results = _analyse(heard, plan, request, unreadable, progress)
    screening = _conclude(heard, results, request, [*notes, *repeated])
    return CheckResult(screening, tuple(unreadable), tuple(repeated))


def _listen_all(
    paths: Sequence[str], settings: Settings, unreadable: list[str], progress: Progress, stack: ExitStack
) -> tuple[list[Heard], list[str]]:
    heard: list[Heard] = []
    repeated: list[str] = []
    known: dict[str, str] = {}
    for i, path in enumerate(paths):
        progress("reading", i, len(paths))
        try:
            one = listen(path, len(heard) + 1, settings)
        except UnreadableRecording as problem:
            unreadable.append(str(problem))
            continue
        stack.enter_context(one.source)
        if twin := known.get(one.recording.sha256):
            repeated.append(f"{path} has the same content as {twin} and was counted once")
            continue
        known[one.recording.sha256] = str(path)
        heard.append(one)
    progress("reading", len(paths), len(paths))
    return heard, repeated


@dataclass(frozen=True)
class _Planned:
    """One strike with its place in the scan."""

    file: int
    span: int
    station: str
    force: Force | None
    name: str


def _assign(heard: Sequence[Heard], request: Request) -> tuple[list[_Planned], list[str]]:
    """Give every strike a station and a force; sentences say how, and what is missing."""
    names = [s.name for s in request.layout.stations] if request.layout else None
    per = request.per_station or (len(request.order) if request.order else None)
    spots = [(f, k) for f, h in enumerate(heard) for k in range(len(h.spans))]
    notes: list[str] = []
    if len(heard) == 1 and (names or per):
        stations, how = split([s.onset_s for s in heard[0].spans], names, per)
        notes.append(f"{len(stations)} taps, {how}")
    else:
        stations = [station_of_file(heard[f].recording.file) for f, _ in spots]
    told = forces(stations, request.order)
    if request.order and None in told:
        odd = sorted({s for s, t in zip(stations, told, strict=True) if t is None})
        notes.append(f"soft or hard unknown at {', '.join(odd)}: not {len(request.order)} taps there")
    notes += shortfalls(stations, names, per)
    plan = [
        _Planned(f, k, station, force, f"T{i}")
        for i, ((f, k), station, force) in enumerate(zip(spots, stations, told, strict=True), 1)
    ]
    return plan, notes


def _analyse(
    heard: Sequence[Heard],
    plan: Sequence[_Planned],
    request: Request,
    unreadable: list[str],
    progress: Progress,
) -> list[StationResult]:
    order = list(dict.fromkeys(p.station for p in plan))
    results = []
    for i, station in enumerate(order):
        progress("listening", i, len(order))
        mine = [p for p in plan if p.station == station]
        segments = _segments(heard, mine, request.settings, unreadable)
        results.append(analyse_station(station, segments, request.settings, pictures=request.pictures))
    progress("listening", len(order), len(order))
    return results


def _segments(
    heard: Sequence[Heard], mine: Sequence[_Planned], settings: Settings, unreadable: list[str]
) -> Iterable[Segment]:
    """The strikes one by one; a file that has gone bad since it was listened to is said and left out."""
    for p in mine:
        try:
            yield cut(heard[p.file], p.span, settings, name=p.name, station=p.station, force=p.force)
        except UnreadableRecording as problem:
            if str(problem) not in unreadable:
                unreadable.append(str(problem))


def _conclude(
    heard: Sequence[Heard], results: Sequence[StationResult], request: Request, notes: Sequence[str]
) -> Screening:
    settings = request.settings
    poles = [h for r in results for h in r.heard]
    modes = with_notes(merge(poles, len(results), settings))
    strikes = sorted((s for r in results for s in r.strikes), key=lambda s: int(s.id[1:]))
    scan = Scan(
        recordings=tuple(h.recording for h in heard),
        strikes=tuple(mark_cut_short(s, results, settings) for s in strikes),
        modes=modes,
        state=request.state,
        layout=request.layout.name if request.layout else None,
        places=tuple((s.name, s.where) for s in request.layout.stations) if request.layout else (),
        map=request.layout,
    )
    indications, not_run = run_rules(scan, settings)
    silent = [f"{h.recording.file}: {h.recording.reason}." for h in heard if h.recording.reason]
    outcome = dispose(scan, indications, silent)
    return Screening(
        scan=scan,
        disposition=outcome.disposition,
        headline=outcome.headline,
        summary=outcome.summary,
        next_steps=outcome.next_steps,
        indications=tuple(indications),
        rules_not_run=tuple(not_run),
        limitations=(*silent, *limitations(scan, settings)) if scan.strikes else limitations(scan, settings),
        settings_sha256=settings_sha256(settings),
        assignment=tuple(notes),
        pictures=tuple(p for r in results for p in r.pictures),
    )
