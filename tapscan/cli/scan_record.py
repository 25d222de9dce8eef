"""`tapscan scan record`: leads a person round the plate and keeps every strike."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

from tapscan.cli import options as o
from tapscan.cli.facts import NOTHING, Typed, with_facts, with_sensor
from tapscan.cli.kept import Kept
from tapscan.errors import BadRequest, MicrophoneTrouble

if TYPE_CHECKING:
    from tapscan.cli.plate_screen import View
    from tapscan.settings import Settings
    from tapscan.workflow.mic import Beeper, Microphone
    from tapscan.workflow.record import Event, Recorder
    from tapscan.workflow.register import Register
    from tapscan.workflow.scan import Unfinished

TONES: dict[str, list[tuple[float, float]]] = {
    "accepted": [(880.0, 0.06)],
    "refused": [(220.0, 0.18)],
    "undone": [(440.0, 0.08), (330.0, 0.08)],
    "moved": [(660.0, 0.06), (990.0, 0.08)],
    "complete": [(660.0, 0.08), (880.0, 0.08), (1320.0, 0.16)],
}
TAIL_S = 0.25  # the room, and the way through the sound system
SILENT_S, ZERO_S, AGAIN_S = 1.5, 1.5, 1.0
FRAME_S = 0.1
LAYOUT, ORDER = "grand-short", "soft,hard,hard"  # where neither was typed nor kept as the shop's default


@with_facts
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
    device: Annotated[o.TEXT, typer.Option(help="Number or part of the name of the input (tapscan mic).")] = None,
    channel: Annotated[int, typer.Option(min=1, help="Channel of the input.")] = 1,
    rate: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option(min=8000, max=192000, help="Sample rate in Hz; else the device's own."),
    ] = None,
    beeps: Annotated[
        bool, typer.Option("--beeps/--no-beeps", help="Tones for accepted, refused and next place.")
    ] = True,
    baseline: Annotated[bool, typer.Option("--baseline", help="Later scans are compared with this one.")] = False,
    facts: Typed = NOTHING,
    held: o.HELD = False,
    operator: o.OPERATOR = None,
    notes: o.NOTES = None,
    settings: o.SETTINGS = None,
    register: o.REGISTER = None,
) -> None:
    """Record a scan at the plate: shows which place to tap, listens, accepts or refuses each strike and says why.

    Every accepted strike is stored before the next is asked for. Stopping early keeps what there is: --resume goes on with it.
    """
    from tapscan.workflow.layout import read_order
    from tapscan.workflow.scan import NewScan
    from tapscan.workflow.settings import read_settings

    used = read_settings(settings)
    opened = o.opened(register)

    kept = Kept(register)
    wanted, forces = kept.taps(layout, order, None)
    facts = kept.facts(facts)
    facts.conditions()  # what cannot be read is told before the microphone is opened

    def begin() -> "Unfinished":
        from tapscan.workflow.record import begin_recording

        kept.tell()
        told = with_sensor(facts).conditions()
        new = NewScan(o.day(None, "--date"), told, o.words(operator), o.words(notes), baseline)
        return begin_recording(opened, plate, new, wanted or LAYOUT, read_order(forces or ORDER))

    unfinished = _unfinished(opened, plate, resume, anew)
    whole = _at_the_plate(opened, unfinished or begin, used, (device, rate, channel - 1), beeps)
    _afterwards(opened, whole, used, held)


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
) -> int:
    """Runs until all is done or the person stops; returns the unfinished scan's number."""
    from tapscan.workflow.mic import Beeper, Microphone
    from tapscan.workflow.record import Recorder, rate_of

    device, rate, channel = input_
    before = None if callable(unfinished) else rate_of(opened, unfinished)
    if before and rate not in (None, before):
        raise BadRequest(f"the strikes so far were taken at {before} Hz; leave --rate out to go on with that")
    with Microphone(device, before or rate, channel) as microphone:  # without an input nothing is begun
        rate = microphone.sample_rate_hz
    known = unfinished() if callable(unfinished) else unfinished
    recorder = Recorder(opened, known, rate, settings)
    session = Session(recorder, Beeper(on=beeps), (device, rate, channel))
    with _shown() as show:
        session.run(show)
    return known.id


class Session:
    """Sound, keys and screen in turn, ten times a second and more."""

    def __init__(self, recorder: "Recorder", beeper: "Beeper", input_: tuple[str | None, int, int]) -> None:
        self.recorder, self.beeper, self.input = recorder, beeper, input_
        self.said, self.tone = "Tap when you are ready.", "plain"
        self.trouble: str | None = None
        self.stopped = False
        self.zeros_s = 0.0
        self.microphone: Microphone | None = None

    def run(self, show: Callable[["View"], None]) -> None:
        """Opens the device again whenever it has gone."""
        from tapscan.cli.keys import raw_keys
        from tapscan.workflow.mic import Microphone, look_again

        with raw_keys() as keys:
            while not self.over:
                try:
                    with Microphone(*self.input) as microphone:
                        self._listen(microphone, keys, show)
                except MicrophoneTrouble as problem:
                    self._wait(f"{problem}. Waiting for it; nothing is lost.", keys, show)
                    look_again()

    @property
    def over(self) -> bool:
        """All done, or stopped by the person."""
        return self.stopped or self.recorder.guide.station is None

    def _listen(self, microphone: "Microphone", keys: Callable[[], str], show: Callable[["View"], None]) -> None:
        """Until it is over, or the device gives nothing any more."""
        self.microphone = microphone
        last_sound = last_frame = time.monotonic()
        while not self.over:
            block = microphone.read(0.05)
            now = time.monotonic()
            if block is not None:
                last_sound = now
                self._heard(block.samples, block.lost)
            elif now - last_sound > SILENT_S:
                self.trouble = "The microphone gives no sound. Is its plug in? Waiting for it; nothing is lost."
                show(self.view())
                from tapscan.workflow.mic import look_again

                microphone.__exit__(None, None, None)
                time.sleep(AGAIN_S)
                look_again()
                return
            self._keys(keys())
            if now - last_frame >= FRAME_S:
                last_frame = now
                show(self.view())

    def _wait(self, words: str, keys: Callable[[], str], show: Callable[["View"], None]) -> None:
        self.trouble = words
        until = time.monotonic() + AGAIN_S
        while time.monotonic() < until and not self.stopped:
            self._keys(keys())
            show(self.view())
            time.sleep(FRAME_S)

    def _heard(self, samples: Any, lost: int) -> None:
        silent = not samples.any()
        self.zeros_s = self.zeros_s + len(samples) / self.input[1] if silent else 0.0
        too_long = self.zeros_s > ZERO_S
        self.trouble = (
            "The input delivers silence: is the microphone switched on, and the right input chosen?"
            if too_long
            else None
        )
        self._tell(self.recorder.hear(samples, lost))

    def _tell(self, events: "list[Event]") -> None:
        """The last words stay on the screen; one beep for all that happened at once."""
        if not events:
            return
        words = [e.words for e in events if e.what != "moved"] or [events[-1].words]
        self.said = " ".join(words)
        self.tone = "bad" if events[-1].what == "refused" else "good" if events[0].what == "accepted" else "plain"
        began = time.monotonic()
        over_s = self.beeper.beep(TONES[events[-1].what])
        if self.beeper.trouble and self.beeper.on:
            self.beeper.on = False
            self.said += f" ({self.beeper.trouble})"
        if over_s and self.microphone is not None:  # it comes back as late as the sound is old that is read now
            least_s, most_s = self.microphone.age_s
            self.recorder.trigger.deaf_between(least_s - (time.monotonic() - began), most_s + over_s + TAIL_S)

    def _keys(self, pressed: str) -> None:
        actions = {"u": "undo", "r": "repeat", "s": "skip", "b": "back"}
        for key in pressed.lower():
            if key in actions:
                self._tell(self.recorder.key(actions[key]))  # type: ignore[arg-type]
            elif key == "p":
                self.recorder.paused = not self.recorder.paused
                self.said, self.tone = ("Paused: p goes on." if self.recorder.paused else "Going on."), "plain"
            elif key in ("q", "\x1b"):
                self.stopped = True

    def view(self) -> "View":
        """What is on the screen now."""
        from tapscan.cli.plate_screen import View

        guide, trigger = self.recorder.guide, self.recorder.trigger
        here = guide.station
        where = next((s.where for s in self.recorder.layout.stations if s.name == here), "")
        counts = (
            ", ".join("{} of {} {}".format(*guide.count(here, f), f) for f in dict.fromkeys(guide.order))
            if here
            else ""
        )
        return View(
            here, where, guide.force, counts, guide.done, len(guide.stations), self.said, self.tone,
            trigger.level_db, trigger.floor_db, self._waiting(), self.trouble, self.recorder.layout,
            frozenset(s for s in guide.stations if not guide.missing(s)),
        )  # fmt: skip

    def _waiting(self) -> str:
        trigger = self.recorder.trigger
        if self.recorder.paused:
            return "PAUSED"
        if trigger.floor_db is None:
            return "WAIT: listening to the room"
        if trigger.deaf:
            return "WAIT"
        return "RINGING: wait" if trigger.sounding_since_s is not None else "READY: tap"


@contextmanager
def _shown() -> "Iterator[Callable[[View], None]]":
    """Full screen in a terminal; else a line whenever something was said."""
    from rich.console import Console
    from rich.live import Live

    from tapscan.cli.plate_screen import screen

    console = Console()
    if not console.is_terminal:
        last: list[str] = []

        def line(view: "View") -> None:
            told = view.trouble or view.said
            if last != [told]:
                last[:] = [told]
                typer.echo(told)

        yield line
        return
    with Live(console=console, screen=True, auto_refresh=False) as live:
        yield lambda view: live.update(screen(view, console.width), refresh=True)


def _afterwards(opened: "Register", number: int, settings: "Settings", held: bool) -> None:
    """Screen, compare and store what is complete; keep what is not."""
    from tapscan.cli.progress import progress_line
    from tapscan.cli.summary import print_summary
    from tapscan.workflow.record import finish, missing_stations
    from tapscan.workflow.scan import find_unfinished
    from tapscan.workflow.standing import notices
    from tapscan.workflow.write_report import page_name

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
    with progress_line() as progress:
        kept = finish(opened, number, settings, progress, held=held)
    if kept.entry is None or kept.screening is None:
        raise BadRequest("; ".join(kept.unreadable) or "the strikes could not be screened; they are kept: use --resume")
    print_summary(kept.screening, None, notices(opened, kept.entry, kept.screening))
    o.tell_no_baseline(unfinished.facts, kept.entry)
    typer.echo(f"\nStored as {kept.entry.name}: {len(kept.entry.files)} strikes in {opened.folder}.")
    page = page_name(kept.entry.name)
    if sys.stdin.isatty() and not page.exists() and typer.confirm(f"Write the report to {page}?", default=True):
        _report(opened, kept.entry.name, page)
    else:
        typer.echo(f"The report: tapscan report {kept.entry.name}")


def _report(opened: "Register", name: str, page: Path) -> None:
    from tapscan.cli.report import report

    report(name, page, register=opened.folder)
