"""Screen recordings: listen, assign stations, estimate modes, run the rules.

check(paths, request)      CheckResult: the screening of what could be read, and what could not
find_taps(paths, request)  Found: when each recording was tapped, before anybody says where
assigned(tapped, request)  which tap goes where, and what is amiss
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from functools import partial
from importlib import import_module

from msgspec import Struct, field
from msgspec.structs import replace
from threadpoolctl import threadpool_limits

from tapscan.errors import BadRequest, UnreadableRecording
from tapscan.layouts import Layout, known_layouts, read_layout
from tapscan.layouts.assignment import (
    barred,
    expected,
    forces,
    left_out,
    shortfalls,
    split,
    station_of_file,
    struck_barred,
    wanted,
)
from tapscan.layouts.take import OFFERS, Take, groups_of, mismatch
from tapscan.layouts.tap_corrections import AssignedTap, mended, numbers_kept, tap_names
from tapscan.records import Force, Screening, State
from tapscan.settings import Settings
from tapscan.signal.plate.station_analysis import Wanted
from tapscan.wording import listed
from tapscan.workers import ALONE, Workers
from tapscan.workflow.ahead import PlacesAhead
from tapscan.workflow.bar import BarFiles
from tapscan.workflow.listen import Heard, listen_all
from tapscan.workflow.places import Planned, analyse_places, nothing_before

RULES = "tapscan.workflow.screened"
LIKE = "as talk or a telephone does"
Agree = Callable[[Sequence[AssignedTap], Sequence[str]], bool]


class Request(Struct, frozen=True):
    """How the recordings are to be understood."""

    settings: Settings = field(default_factory=Settings)
    layout: Layout | None = None
    state: State | None = None
    per_station: int | None = None
    order: tuple[Force, ...] | None = None
    pictures: bool = False
    assign: tuple[tuple[str, str], ...] = ()  # tap or recording, and the station a person gave it
    parts_held: bool = False  # hook, screws and pads were held during the taps
    skip: tuple[int, ...] = ()  # numbers of taps a person left out
    called: Mapping[str, str] = field(default_factory=dict)  # names of recordings whose path does not tell
    contact: bool = False  # known to be recorded by a pickup on the iron
    partial: bool = False  # a person says that the take is part of what the layout asks for
    as_split: bool = False  # a person sees, or has agreed to, where the taps went: no stop where the take is not what the layout asks for
    offers: frozenset[str] = OFFERS  # options that whoever asks has to put a take right; messages name no other
    played: bool = False  # keys were played; nothing was tapped
    keys: str = ""  # those that were to be played, as typed; empty: any
    one_take: bool = False  # played notes that were recorded live, a recording each
    sure: bool = False  # a person says that it is this plate, tapped in this order
    bar: BarFiles | None = None  # recordings of the reference bar, which are no part of the plate's
    stored: bool = False  # a stored scan is read anew: what was said of its taps before is taken as it was
    told: tuple[tuple[str, Force], ...] = ()  # recording and the force of its tap, where that was noted at the plate


class CheckResult(Struct, frozen=True):
    """`screening` is None when nothing at all could be read, or `agree` said no."""

    screening: Screening | None
    unreadable: tuple[str, ...]
    repeated: tuple[str, ...]


def check(
    paths: Sequence[str],
    request: Request,
    workers: Workers = ALONE,
    agree: Agree | None = None,
    ahead: PlacesAhead | None = None,
    shown: Sequence[Callable[[], object]] = (),
) -> CheckResult:
    """Screen the recordings at `paths` on their own.

    workers : share the work, and hear of its progress; the figures are the same whatever their count.
    agree : sees where the taps went and what is missing before they are listened to; False stops there.
    ahead : places that were listened to while the next was tapped.
    shown : steps that whoever shows the result takes sooner or later.
    """
    unreadable: list[str] = []
    with ExitStack() as stack:
        stack.enter_context(threadpool_limits(1))  # small matrices: more threads only wait for each other
        workers.later(partial(import_module, RULES))
        for step in shown:
            workers.later(step)
        heard, repeated = _listen_all(paths, request, unreadable, workers, stack, ahead)
        if not heard:
            return CheckResult(None, tuple(unreadable), tuple(repeated))
        taps = _assign(_tapped(heard), request)
        plan, notes = taps.plan, taps.told
        if agree is not None and not agree(_shown(_tapped(heard), plan), [*notes, *repeated]):
            return CheckResult(None, tuple(unreadable), tuple(repeated))
        before = ahead.result if ahead else nothing_before
        results = analyse_places(heard, plan, _wanted(request, plan), workers, unreadable, before)
        from tapscan.workflow.screened import scan_heard, screened

        scan = scan_heard(heard, results, request, workers, (*taps.barred, *taps.amiss), unreadable)
    screening = screened(scan, results, request, [*notes, *repeated])
    return CheckResult(screening, tuple(unreadable), tuple(repeated))


class TappedFile(Struct, frozen=True):
    """A recording and its taps."""

    file: str
    onsets_s: tuple[float, ...]
    swells: tuple[bool, ...] = ()  # of each, whether it grew instead of fading, as talk does


class Found(Struct, frozen=True):
    """What `find_taps` found."""

    tapped: tuple[TappedFile, ...]
    unreadable: tuple[str, ...]
    repeated: tuple[str, ...]


def find_taps(paths: Sequence[str], request: Request, workers: Workers = ALONE) -> Found:
    """Listens, and analyses nothing."""
    unreadable: list[str] = []
    with ExitStack() as stack:
        stack.enter_context(threadpool_limits(1))
        heard, repeated = _listen_all(paths, request, unreadable, workers, stack, None)
        return Found(tuple(_tapped(heard)), tuple(unreadable), tuple(repeated))


def assigned(tapped: Sequence[TappedFile], request: Request) -> tuple[list[AssignedTap], list[str]]:
    """Every tap with its place, and sentences on how that was told and what is missing. Raises BadRequest as `check` does."""
    if not tapped:
        return [], []
    taps = _assign(tapped, request)
    return _shown(tapped, taps.plan), taps.told


def _tapped(heard: Sequence[Heard]) -> list[TappedFile]:
    return [
        TappedFile(h.recording.file, tuple(s.onset_s for s in h.spans), tuple(s.swells for s in h.spans)) for h in heard
    ]


def _listen_all(
    paths: Sequence[str],
    request: Request,
    unreadable: list[str],
    workers: Workers,
    stack: ExitStack,
    ahead: PlacesAhead | None,
) -> tuple[list[Heard], list[str]]:
    heard: list[Heard] = []
    repeated: list[str] = []
    known: dict[str, str] = {}
    before = ahead.listened() if ahead and ahead.wanted.settings == request.settings else {}
    for path, found in zip(paths, listen_all(paths, request.settings, workers, stack, before), strict=True):
        if isinstance(found, UnreadableRecording):
            unreadable.append(str(found))
            continue
        file = request.called.get(path, found.recording.file)
        one = replace(found, recording=replace(found.recording, id=f"F{len(heard) + 1}", file=file))
        if twin := known.get(one.recording.sha256):
            repeated.append(f"{path} has the same content as {twin} and was counted once")
            continue
        known[one.recording.sha256] = str(path)
        heard.append(one)
    return heard, repeated


class _Assigned(Struct, frozen=True):
    """Where the taps went, and sentences on it."""

    plan: tuple[Planned, ...]
    notes: tuple[str, ...]
    amiss: tuple[str, ...]  # what is missing, double or not as the layout asks
    barred: tuple[str, ...]  # where no tap should have been

    @property
    def told(self) -> list[str]:
        """What must not happen again stands first."""
        return [*self.barred, *self.notes, *self.amiss]


def _assign(heard: Sequence[TappedFile], request: Request) -> _Assigned:
    """Give every strike a station and a force; sentences say how, and what is missing."""
    per = request.per_station or (len(request.order) if request.order else None)
    found = [(f, k) for f, h in enumerate(heard) for k in range(len(h.onsets_s))]
    out = _left_out(heard, request, per)
    numbers = numbers_kept(len(found), (*out.by_hand, *out.grown))
    spots = [found[n - 1] for n in numbers]
    files = [heard[f].file for f, _ in spots]
    notes, amiss = _left_out_words(out), list[str]()
    if len(heard) == 1 and (request.layout or per):
        onsets = [heard[0].onsets_s[n - 1] for n in numbers if n not in out.grown_yet_placed]
        amiss += _understood(onsets, request, per)
        split_stations, how = _split(onsets, request, per)
        rest = iter(split_stations)
        stations = ["" if n in out.grown_yet_placed else next(rest) for n in numbers]
        notes.append(f"{len(numbers)} taps, {how}")
    else:
        stations = [station_of_file(file) for file in files]
    names, found_at = [f"T{n}" for n in numbers], stations
    stations, words = mended(names, files, stations, request.assign, None if request.stored else request.layout)
    notes += words
    grew = [any(heard[f].swells[k : k + 1]) for f, k in spots]
    notes += _unused_yet_placed(names, grew, found_at, stations, request)
    noted = dict(request.told)
    told = [noted.get(file, f) for file, f in zip(files, forces(stations, request.order), strict=True)]
    if request.order and None in told:
        odd = sorted({s for s, t in zip(stations, told, strict=True) if t is None})
        notes.append(f"soft or hard unknown at {', '.join(odd)}: not {len(request.order)} taps there")
    where = (request.layout, request.state)
    never = set(barred(*where))
    amiss += shortfalls([s for s in stations if s not in never], wanted(*where), per)
    notes += left_out(*where, stations)
    plan = tuple(
        Planned(f, k, station, force, name)
        for name, (f, k), station, force in zip(names, spots, stations, told, strict=True)
    )
    return _Assigned(plan, tuple(notes), tuple(amiss), tuple(struck_barred(*where, stations)))


class _Out(Struct, frozen=True):
    """Numbers of taps that are left out, and of those that would be had a person not given them a place."""

    by_hand: tuple[int, ...]
    grown: tuple[int, ...]
    grown_yet_placed: frozenset[int]


def _left_out(heard: Sequence[TappedFile], request: Request, per: int | None) -> _Out:
    """A tap that a person gives a place is in, whatever else speaks against it."""
    placed = {what for what, _ in request.assign}
    by_hand = tuple(n for n in request.skip if f"T{n}" not in placed)
    grown = [n for n in _no_taps(heard, by_hand, request, per) if n not in by_hand]
    yet_placed = frozenset(n for n in grown if f"T{n}" in placed)
    return _Out(by_hand, tuple(n for n in grown if n not in yet_placed), yet_placed)


def _left_out_words(out: _Out) -> list[str]:
    notes = [f"left out by hand: {tap_names(out.by_hand)}"] if out.by_hand else []
    if out.grown:
        notes.append(f"left out because they grew instead of fading, {LIKE}: {tap_names(out.grown)}")
    return notes


def _unused_yet_placed(
    names: Sequence[str], grew: Sequence[bool], found_at: Sequence[str], stations: Sequence[str], request: Request
) -> list[str]:
    """Of taps that a person gave a place although they grew: where they stand, and that they are not used.

    A person's word says where a blow fell. It does not change what was recorded: struck iron only fades, so what grows holds a voice or a bell, with
    or without a blow beneath it, and modes fitted to it would be read as the iron's. So `signal/strikes` finds it "not a tap", and no word unsays that.
    """
    said = {what for what, _ in request.assign}
    rows = zip(names, grew, found_at, stations, strict=True)
    placed = [(name, now) for name, grows, was, now in rows if grows and (name in said or was != now)]
    if not placed:
        return []
    them, they = ("its tones", "it grew") if len(placed) == 1 else ("their tones", "they grew")
    where = listed([f"{name} at {station}" for name, station in placed], most=8)
    return [
        f"not used although given a place by hand: {where}; {they} instead of fading, {LIKE}, and {them} would be read as the iron's"
    ]


def _no_taps(heard: Sequence[TappedFile], by_hand: Sequence[int], request: Request, per: int | None) -> tuple[int, ...]:
    """Numbers of what is no tap, where the take is as the layout asks without it and is not with it. Talk between places is then no obstacle.

    by_hand : numbers that a person left out; what may stay out without them stays out beside them.
    """
    if len(heard) != 1 or request.layout is None or not any(heard[0].swells):
        return ()
    grown = tuple(n for n, grew in enumerate(heard[0].swells, 1) if grew)
    outs = ((), tuple(by_hand))
    if not any(_mismatch(_without(heard[0], out), request, per) for out in outs):
        return ()
    left = [_without(heard[0], (*out, *grown)) for out in outs]
    return grown if any(len(one) > 1 and not _mismatch(one, request, per) for one in left) else ()


def _without(take: TappedFile, numbers: Sequence[int]) -> list[float]:
    return [t for n, t in enumerate(take.onsets_s, 1) if n not in set(numbers)]


def _mismatch(onsets: Sequence[float], request: Request, per: int | None) -> str | None:
    assert request.layout is not None
    take = Take(len(onsets), groups_of(onsets), per, tuple(onsets))
    return mismatch(take, request.layout, request.state, lambda: map(read_layout, known_layouts()), request.offers)


def _understood(onsets: Sequence[float], request: Request, per: int | None) -> list[str]:
    """What does not fit the layout; raises BadRequest with it unless a person has said how it is to be read."""
    if request.layout is None or request.assign:
        return []
    wrong = _mismatch(onsets, request, per)
    if wrong and not (request.partial or request.as_split):
        raise BadRequest(wrong)
    return (
        [] if wrong is None or request.partial else [wrong.split(". ")[0]]
    )  # what to type is for the screen, not for the page


def _split(onsets: Sequence[float], request: Request, per: int | None) -> tuple[list[str], str]:
    """Of an aborted take the first places of the layout."""
    names = expected(request.layout, request.state, onsets, per)
    groups = groups_of(onsets)
    if request.partial and names and groups and len(groups) < len(names):
        names = names[: len(groups)]
    return split(onsets, names, per, len(groups) if groups else None)


def _shown(heard: Sequence[TappedFile], plan: Sequence[Planned]) -> list[AssignedTap]:
    return [AssignedTap(p.name, heard[p.file].file, heard[p.file].onsets_s[p.span], p.station, p.force) for p in plan]


def _wanted(request: Request, plan: Sequence[Planned]) -> Wanted:
    """One place alone is listened to from the lowest tone up."""
    several = len({p.station for p in plan}) > 1
    return Wanted(request.settings, request.pictures, several, request.contact)
