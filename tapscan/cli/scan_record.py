"""`tapscan scan record`: leads a person round the plate, or along the keyboard, and keeps every strike and every note."""

import sys
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer
from msgspec import Struct

from tapscan.cli import options as o
from tapscan.cli.bar import BarTurns
from tapscan.cli.facts import NOTHING, Typed, with_sensor
from tapscan.cli.groups import grouped
from tapscan.cli.kept import Kept
from tapscan.cli.played import Keys, how_to_resume
from tapscan.cli.recording_session import record_at
from tapscan.cli.sharing import JOBS, progress_of
from tapscan.cli.sure import asking
from tapscan.cli.visited import as_visited
from tapscan.errors import BadRequest, WrongUsage, if_stopped
from tapscan.sensors import HIGHEST_RATE_HZ, LOWEST_RATE_HZ
from tapscan.wording import argument
from tapscan.workers import Workers
from tapscan.workflow.sharing import recorder_work

if TYPE_CHECKING:
    from tapscan.records import Doubt, ScanConditions
    from tapscan.settings import Settings
    from tapscan.workflow.ahead import PlacesAhead
    from tapscan.workflow.register import Register
    from tapscan.workflow.scan import NewScan, Unfinished


class Input(Struct, frozen=True):
    """Where the sound comes in, and the tones that answer."""

    beeps: Annotated[bool, typer.Option("--beeps/--no-beeps", help="Tones for accepted, refused and next place.")] = (
        True
    )
    device: Annotated[o.TEXT, typer.Option(help="Number or part of the name of the input (tapscan mic).")] = None
    channel: Annotated[int, typer.Option(min=1, help="Channel of the input.")] = 1
    rate: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option(min=LOWEST_RATE_HZ, max=HIGHEST_RATE_HZ, help="Sample rate in Hz; else the device's own."),
    ] = None

    @property
    def whole(self) -> tuple[str | None, int | None, int]:
        """Device, rate in Hz, channel from 0."""
        return self.device, self.rate, self.channel - 1


class Stopped(Struct, frozen=True):
    """What becomes of a scan that was stopped half way."""

    resume: Annotated[bool, typer.Option("--resume", help="Go on with the scan of this plate that was stopped.")] = (
        False
    )
    anew: Annotated[bool, typer.Option("--anew", help="Begin a new one though one was stopped; that one is kept.")] = (
        False
    )


class Told(Struct, frozen=True):
    """What a person says of the scan."""

    baseline: Annotated[bool, typer.Option("--baseline", help="Later scans are compared with this one.")] = False
    operator: o.OPERATOR = None
    notes: o.NOTES = None
    allowed_by: Annotated[
        o.TEXT,
        typer.Option(
            metavar="NAME",
            help="A qualified person who has allowed this scan of a plate that is to be left as it is; kept with its notes.",
        ),
    ] = None

    def of(self, conditions: "ScanConditions") -> "NewScan":
        """Of today."""
        from tapscan.workflow.scan import NewScan

        return NewScan(o.day(None, "--date"), conditions, o.words(self.operator), o.words(self.notes), self.baseline)


@grouped
def record(
    plate: o.PLATE,
    layout: Annotated[
        o.TEXT,
        typer.Option(help="Layout name (tapscan layout list) or a .toml file; else the shop's, else grand-short."),
    ] = None,
    order: Annotated[
        o.TEXT, typer.Option(help="Taps wanted at each place, in order; else the shop's, else soft,hard,hard.")
    ] = None,
    stopped: Stopped = Stopped(),
    input_: Input = Input(),
    keys: Keys = Keys(),
    bar: BarTurns = BarTurns(),
    facts: Typed = NOTHING,
    held: o.HELD = False,
    told: Told = Told(),
    settings: o.SETTINGS = None,
    register: o.REGISTER = None,
    jobs: JOBS = None,
) -> None:
    """Record a scan at the plate: shows which place to tap, listens, accepts or refuses each tap and says why.

    Every accepted tap is stored before the next is asked for. Stopping early keeps what there is: --resume goes on with it.
    With --played it names the key to play instead, and reads the notes as `scan import --played` does.
    """
    from tapscan.workflow.settings import read_settings

    used, opened = read_settings(settings), o.opened(register)
    kept, wanted = Kept(register), keys.wanted()
    begin: _Begin | _BeginNotes
    if keys.played:
        _only_keys(layout=layout, order=order, bar=bar.bar, bar_name=bar.bar_name, held=held)
        begin = _BeginNotes(opened, plate, kept, wanted, facts, told)
    else:
        begin = _Begin(opened, plate, kept, layout, order, facts, told, bar)
    unfinished = _unfinished(opened, plate, keys.played, wanted, stopped)
    with recorder_work(jobs) as workers:
        whole, ahead = _at_the_plate(opened, unfinished or begin, used, input_, workers, o.words(told.allowed_by))
        _afterwards(opened, whole, used, held, ahead)


class _Begin:
    """A new scan, begun once the microphone is there; what cannot be read is told before it is opened."""

    def __init__(
        self,
        opened: "Register",
        plate: str,
        kept: Kept,
        layout: str | None,
        order: str | None,
        facts: Typed,
        told: Told,
        bar: BarTurns,
    ) -> None:
        self.opened, self.plate, self.kept, self.told = opened, plate, kept, told
        self.layout, self.order = kept.taps(layout, order, None)
        self.facts = kept.facts(as_visited(opened, plate, o.day(None, "--date"), facts))
        _may_be_tapped(opened, plate, told, self.facts)
        self.bar = bar.name(opened)

    def __call__(self) -> "Unfinished":
        from tapscan.workflow.layout import read_order
        from tapscan.workflow.record import USUAL_LAYOUT, USUAL_ORDER, begin_recording

        self.kept.tell()
        new, order = self.told.of(with_sensor(self.facts).conditions()), read_order(self.order or USUAL_ORDER)
        layout, allowed_by = self.layout or USUAL_LAYOUT, o.words(self.told.allowed_by)
        return begin_recording(self.opened, self.plate, new, layout, order, self.bar, allowed_by)


class _BeginNotes:
    """The same for keys."""

    def __init__(
        self,
        opened: "Register",
        plate: str,
        kept: Kept,
        keys: tuple[str, ...],
        facts: Typed,
        told: Told,
    ) -> None:
        self.opened, self.plate, self.kept, self.keys, self.told = opened, plate, kept, keys, told
        self.facts = kept.facts(as_visited(opened, plate, o.day(None, "--date"), facts), played=True)
        _may_be_tapped(opened, plate, told, self.facts)

    def __call__(self) -> "Unfinished":
        from tapscan.workflow.record_notes import begin_notes

        self.kept.tell()
        new = self.told.of(with_sensor(self.facts).conditions())
        return begin_notes(self.opened, self.plate, new, self.keys, o.words(self.told.allowed_by))


def _may_be_tapped(opened: "Register", plate: str, told: Told, facts: Typed) -> None:
    """Raises BadRequest where it may not, and for what cannot be read."""
    from tapscan.workflow.left_alone import may_be_tapped

    may_be_tapped(opened, plate, told.of(facts.conditions()), o.words(told.allowed_by))


def _only_keys(**of_taps: object) -> None:
    """Raises BadRequest for what is said of taps."""
    if given := [f"--{option.replace('_', '-')}" for option, value in of_taps.items() if value]:
        raise WrongUsage(f"keys are played, and nothing is tapped: leave {' and '.join(given)} out")


def _same_keys(unfinished: "Unfinished", wanted: tuple[str, ...]) -> "Unfinished":
    """Raises BadRequest where others are named than when it was begun: they would be passed over."""
    from tapscan.workflow.taken import keys_of

    if wanted and keys_of(unfinished) != tuple(dict.fromkeys(wanted)):
        begun = ", ".join(keys_of(unfinished)) or "any key"
        raise BadRequest(
            f"the recording that was stopped is of {begun}: leave --keys out to go on with it, or begin another with --anew"
        )
    return unfinished


def _unfinished(
    opened: "Register", plate: str, played: bool, wanted: tuple[str, ...], how: Stopped
) -> "Unfinished | None":
    """The one to go on with; None: begin. Raises BadRequest where a person must choose."""
    from tapscan.clock import clock
    from tapscan.workflow.scan import unfinished_scans
    from tapscan.workflow.taken import is_played, what_of

    every = [u for u in unfinished_scans(opened, plate) if u.kept]
    stopped = [u for u in every if is_played(u) is played]
    if how.resume:
        if stopped:
            return _same_keys(stopped[-1], wanted)
        if every:
            raise BadRequest(f"{plate}: what was stopped goes on with: {how_to_resume(every[-1])}")
        raise BadRequest(
            f"{plate}: no scan was stopped half way, so there is nothing to go on with; leave --resume out"
        )
    if stopped and not how.anew:
        count = len(stopped[-1].kept)
        raise BadRequest(
            f"{plate}: a scan begun {clock(stopped[-1].begun_utc)} holds {count} {what_of(stopped[-1], count)}; give --resume to go on with it, "
            "or --anew to begin another (it is kept)"
        )
    return None


def _at_the_plate(
    opened: "Register",
    unfinished: "Unfinished | Callable[[], Unfinished]",
    settings: "Settings",
    input_: Input,
    workers: Workers,
    allowed_by: str | None,
) -> "tuple[int, PlacesAhead]":
    """Runs until all is done or the person stops; returns the unfinished scan's number, and what was listened to meanwhile."""
    from tapscan.workflow.at_the_plate import Session
    from tapscan.workflow.left_alone import may_go_on
    from tapscan.workflow.mic import Beeper, Microphone
    from tapscan.workflow.record import Recorder, places_ahead
    from tapscan.workflow.record_notes import NoteRecorder
    from tapscan.workflow.taken import complete, is_played, rate_of

    if not callable(unfinished):
        if complete(unfinished):  # stopped while it was read: nothing is left to hear
            return unfinished.id, places_ahead(unfinished, settings, workers)
        may_go_on(opened, unfinished, allowed_by)
    if not (isinstance(unfinished, _BeginNotes) if callable(unfinished) else is_played(unfinished)):
        workers.start()  # before the microphone is opened; notes are read when all are played, by one
    device, rate, channel = input_.whole
    before = None if callable(unfinished) else rate_of(opened, unfinished)
    if before and rate not in (None, before):
        raise BadRequest(f"what is kept so far was taken at {before} Hz; leave --rate out to go on with that")
    with Microphone(device, before or rate, channel) as microphone:  # without an input nothing is begun
        rate = microphone.sample_rate_hz
    known = unfinished() if callable(unfinished) else unfinished
    ahead = places_ahead(known, settings, workers)
    recorder: Recorder | NoteRecorder
    if is_played(known):
        recorder = NoteRecorder(opened, known, rate, settings)
    else:
        recorder = Recorder(opened, known, rate, settings, ahead)
    with if_stopped(lambda: _kept_of(known, len(recorder.guide.taken))):
        record_at(Session(recorder, Beeper(on=input_.beeps), (device, rate, channel)))
    return known.id, ahead


def _afterwards(opened: "Register", number: int, settings: "Settings", held: bool, ahead: "PlacesAhead") -> None:
    """Screen, compare and store what is complete; keep what is not."""
    from tapscan.cli.summary import print_summary
    from tapscan.workflow.notices import notices
    from tapscan.workflow.scan import find_unfinished
    from tapscan.workflow.taken import finish, settled, what_of
    from tapscan.workflow.write_report import page_name

    settled(opened, number)
    unfinished = find_unfinished(opened, number)
    if not unfinished.kept:
        typer.echo(f"No {what_of(unfinished)} was taken; nothing was stored.")
        return
    with if_stopped(lambda: _kept_of(unfinished, len(unfinished.kept))), ExitStack() as bars:
        if not _enough(unfinished):
            return
        bars.enter_context(progress_of(ahead.workers))

        def sure(doubts: "Sequence[Doubt]") -> bool | None:
            bars.close()  # a bar would run through the question
            return asking(sys.stdin.isatty(), refused=None)(doubts)

        kept = finish(opened, number, settings, ahead.workers, sure, held=held, ahead=ahead)
    if kept.entry is None or kept.screening is None:
        raise BadRequest("; ".join(kept.unreadable) or "what is kept could not be screened: use --resume")
    print_summary(kept.screening, None, notices(opened, kept.entry, kept.screening), stored=kept.entry.name)
    o.tell_no_baseline(opened, unfinished.facts, kept.entry)
    typer.echo(f"\nStored as {kept.entry.name}: {len(kept.entry.files)} {what_of(unfinished, 2)} in {opened.told}.")
    page = page_name(kept.entry.name)
    if sys.stdin.isatty() and not page.exists() and typer.confirm(f"Write the report to {page}?", default=True):
        _report(opened, kept.entry.name, page)
    else:
        typer.echo(f"The report: tapscan report {argument(kept.entry.name)}")


def _kept_of(unfinished: "Unfinished", count: int) -> str:
    """Where a Ctrl-C ends it."""
    from tapscan.workflow.taken import what_of

    if not count:
        return f"no {what_of(unfinished)} was taken, and nothing was stored"
    be = "is" if count == 1 else "are"
    return f"{count} {what_of(unfinished, count)} {be} kept: {how_to_resume(unfinished)} goes on with it"


def _enough(unfinished: "Unfinished") -> bool:
    """Whether all is there, or the person wants it read as it is."""
    from tapscan.workflow.taken import complete, is_played, missing_stations, what_of

    missing, played, count = missing_stations(unfinished), is_played(unfinished), len(unfinished.kept)
    if missing:
        todo = "play" if played else "tap"
        typer.echo(f"{count} {what_of(unfinished, count)} are kept. Still to {todo}: {', '.join(missing)}.")
    elif complete(unfinished):
        return True
    if sys.stdin.isatty() and typer.confirm(
        "Screen what there is now? (No: go on later with --resume)", default=not missing
    ):
        return True
    typer.echo(f"Kept as unfinished: {how_to_resume(unfinished)}")
    return False


def _report(opened: "Register", name: str, page: Path) -> None:
    from tapscan.cli.report import report

    report(name, page, register=o.typed_as(opened.place))
