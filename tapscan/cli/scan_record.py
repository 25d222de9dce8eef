"""`tapscan scan record`: leads a person round the plate and keeps every strike."""

import sys
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from tapscan.cli import options as o
from tapscan.cli.bar import BarTurns
from tapscan.cli.facts import NOTHING, Typed, with_sensor
from tapscan.cli.groups import grouped
from tapscan.cli.kept import Kept
from tapscan.cli.recording_session import record_at
from tapscan.cli.sharing import JOBS, progress_of
from tapscan.cli.sure import asking
from tapscan.errors import BadRequest
from tapscan.workers import Workers
from tapscan.workflow.sharing import recorder_work

if TYPE_CHECKING:
    from tapscan.records import Doubt
    from tapscan.settings import Settings
    from tapscan.workflow.ahead import PlacesAhead
    from tapscan.workflow.register import Register
    from tapscan.workflow.scan import Unfinished


@dataclass(frozen=True)
class Input:
    """Where the sound comes in, and the tones that answer."""

    beeps: Annotated[bool, typer.Option("--beeps/--no-beeps", help="Tones for accepted, refused and next place.")] = (
        True
    )
    device: Annotated[o.TEXT, typer.Option(help="Number or part of the name of the input (tapscan mic).")] = None
    channel: Annotated[int, typer.Option(min=1, help="Channel of the input.")] = 1
    rate: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option(min=8000, max=192000, help="Sample rate in Hz; else the device's own."),
    ] = None

    @property
    def whole(self) -> tuple[str | None, int | None, int]:
        """Device, rate in Hz, channel from 0."""
        return self.device, self.rate, self.channel - 1


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
    resume: Annotated[
        bool, typer.Option("--resume", help="Go on with the scan of this plate that was stopped.")
    ] = False,
    anew: Annotated[
        bool, typer.Option("--anew", help="Begin a new one though one was stopped; that one is kept.")
    ] = False,
    input_: Input = Input(),
    baseline: Annotated[bool, typer.Option("--baseline", help="Later scans are compared with this one.")] = False,
    bar: BarTurns = BarTurns(),
    facts: Typed = NOTHING,
    held: o.HELD = False,
    operator: o.OPERATOR = None,
    notes: o.NOTES = None,
    settings: o.SETTINGS = None,
    register: o.REGISTER = None,
    jobs: JOBS = None,
) -> None:
    """Record a scan at the plate: shows which place to tap, listens, accepts or refuses each strike and says why.

    Every accepted strike is stored before the next is asked for. Stopping early keeps what there is: --resume goes on with it.
    """
    from tapscan.workflow.settings import read_settings

    used, opened = read_settings(settings), o.opened(register)
    begin = _Begin(opened, plate, Kept(register), layout, order, facts, (operator, notes, baseline), bar)
    unfinished = _unfinished(opened, plate, resume, anew)
    with recorder_work(jobs) as workers:
        whole, ahead = _at_the_plate(opened, unfinished or begin, used, input_.whole, input_.beeps, workers)
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
        said: tuple[str | None, str | None, bool],
        bar: BarTurns,
    ) -> None:
        self.opened, self.plate, self.kept, self.said = opened, plate, kept, said
        self.layout, self.order = kept.taps(layout, order, None)
        self.facts = kept.facts(facts)
        self.facts.conditions()
        self.bar = bar.name(opened)

    def __call__(self) -> "Unfinished":
        from tapscan.workflow.layout import read_order
        from tapscan.workflow.record import USUAL_LAYOUT, USUAL_ORDER, begin_recording
        from tapscan.workflow.scan import NewScan

        self.kept.tell()
        operator, notes, baseline = self.said
        told = with_sensor(self.facts).conditions()
        new = NewScan(o.day(None, "--date"), told, o.words(operator), o.words(notes), baseline)
        return begin_recording(
            self.opened, self.plate, new, self.layout or USUAL_LAYOUT, read_order(self.order or USUAL_ORDER), self.bar
        )


def _unfinished(opened: "Register", plate: str, resume: bool, anew: bool) -> "Unfinished | None":
    """The one to go on with; None: begin. Raises BadRequest where a person must choose."""
    from tapscan.workflow.scan import unfinished_scans

    stopped = [u for u in unfinished_scans(opened, plate) if u.kept]
    if resume:
        if not stopped:
            raise BadRequest(
                f"{plate}: no scan was stopped half way, so there is nothing to go on with; leave --resume out"
            )
        return stopped[-1]
    if stopped and not anew:
        count = len(stopped[-1].kept)
        raise BadRequest(
            f"{plate}: a scan begun {stopped[-1].begun_utc[:16].replace('T', ' ')} holds {count} strikes; give --resume to go on with it, "
            "or --anew to begin another (it is kept)"
        )
    return None


def _at_the_plate(
    opened: "Register",
    unfinished: "Unfinished | Callable[[], Unfinished]",
    settings: "Settings",
    input_: tuple[str | None, int | None, int],
    beeps: bool,
    workers: Workers,
) -> "tuple[int, PlacesAhead]":
    """Runs until all is done or the person stops; returns the unfinished scan's number, and what was listened to meanwhile."""
    from tapscan.workflow.at_the_plate import Session
    from tapscan.workflow.mic import Beeper, Microphone
    from tapscan.workflow.record import Recorder, places_ahead, rate_of

    workers.start()  # before the microphone is opened
    device, rate, channel = input_
    before = None if callable(unfinished) else rate_of(opened, unfinished)
    if before and rate not in (None, before):
        raise BadRequest(f"the strikes so far were taken at {before} Hz; leave --rate out to go on with that")
    with Microphone(device, before or rate, channel) as microphone:  # without an input nothing is begun
        rate = microphone.sample_rate_hz
    known = unfinished() if callable(unfinished) else unfinished
    ahead = places_ahead(known, settings, workers)
    recorder = Recorder(opened, known, rate, settings, ahead)
    record_at(Session(recorder, Beeper(on=beeps), (device, rate, channel)))
    return known.id, ahead


def _afterwards(opened: "Register", number: int, settings: "Settings", held: bool, ahead: "PlacesAhead") -> None:
    """Screen, compare and store what is complete; keep what is not."""
    from tapscan.cli.summary import print_summary
    from tapscan.workflow.record import finish, missing_stations, settled
    from tapscan.workflow.scan import find_unfinished
    from tapscan.workflow.standing import notices
    from tapscan.workflow.write_report import page_name

    settled(opened, number)
    unfinished = find_unfinished(opened, number)
    if not unfinished.kept:
        typer.echo("No strike was taken; nothing was stored.")
        return
    if missing := missing_stations(unfinished):
        typer.echo(f"{len(unfinished.kept)} strikes are kept. Still to tap: {', '.join(missing)}.")
        if not (
            sys.stdin.isatty()
            and typer.confirm("Screen what there is now? (No: go on later with --resume)", default=False)
        ):
            typer.echo(f"Kept as unfinished: tapscan scan record {unfinished.plate} --resume")
            return
    with ExitStack() as bars:
        bars.enter_context(progress_of(ahead.workers))

        def sure(doubts: "Sequence[Doubt]") -> bool | None:
            bars.close()  # a bar would run through the question
            return asking(sys.stdin.isatty(), refused=None)(doubts)

        kept = finish(opened, number, settings, ahead.workers, sure, held=held, ahead=ahead)
    if kept.entry is None or kept.screening is None:
        raise BadRequest("; ".join(kept.unreadable) or "the strikes could not be screened; they are kept: use --resume")
    print_summary(kept.screening, None, notices(opened, kept.entry, kept.screening))
    o.tell_no_baseline(unfinished.facts, kept.entry)
    typer.echo(f"\nStored as {kept.entry.name}: {len(kept.entry.files)} strikes in {opened.told}.")
    page = page_name(kept.entry.name)
    if sys.stdin.isatty() and not page.exists() and typer.confirm(f"Write the report to {page}?", default=True):
        _report(opened, kept.entry.name, page)
    else:
        typer.echo(f"The report: tapscan report {kept.entry.name}")


def _report(opened: "Register", name: str, page: Path) -> None:
    from tapscan.cli.report import report

    report(name, page, register=o.typed_as(opened.place))
