"""Options that several commands share, and the words typed behind them.

opened(told)              the register of --register, TAPSCAN_REGISTER or the user's data folder
day(text), number(...)    what a person typed as a value, or BadRequest with one that would work
checklist(seen, not_seen) the visual checklist
"""

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from tapscan.errors import RegisterProblem, WrongUsage
from tapscan.places import BY_EYE, CHECKLIST, STATES
from tapscan.sensors import SENSOR_KINDS
from tapscan.unseen import as_text
from tapscan.wording import argument
from tapscan.workflow import typed
from tapscan.workflow.typed import celsius, number, words

if TYPE_CHECKING:
    from tapscan.workflow.register import Place, Register
    from tapscan.workflow.scan import Finding, NewScan, ScanEntry

__all__ = [
    "celsius",
    "checklist",
    "day",
    "fittings",
    "folder_of",
    "number",
    "opened",
    "place_of",
    "tell_no_baseline",
    "tell_trouble",
    "words",
]

REGISTER = Annotated[
    Optional[str],  # noqa: UP045
    typer.Option(
        "--register", envvar="TAPSCAN_REGISTER", metavar="FOLDER|ADDRESS",
        help="The register's folder, or postgresql://ACCOUNT@SERVER/DATABASE; else TAPSCAN_REGISTER, else your own data folder.",
    ),
]  # fmt: skip
SETTINGS = Annotated[
    Optional[Path],  # noqa: UP045
    typer.Option(metavar="FILE.toml", help="Thresholds that overlay the defaults."),
]
JSON = Annotated[
    Optional[str],  # noqa: UP045
    typer.Option(metavar="FILE|-", help="Write everything as JSON; - for standard output."),
]
REPORT = Annotated[
    Optional[Path],  # noqa: UP045
    typer.Option(metavar="FILE.html", help="Write the page a person can read."),
]
SHOP = Annotated[
    Optional[Path],  # noqa: UP045
    typer.Option(
        "--shop",
        envvar="TAPSCAN_SHOP",
        metavar="FILE.toml",
        help="Your name, logo, contact, units and dates on the page.",
    ),
]
PLATE = Annotated[str, typer.Argument(help="The plate's name.")]
SCAN = Annotated[str, typer.Argument(metavar="SCAN", help="The scan's name: PLATE/DATE[-n].")]
TEXT = Optional[str]  # noqa: UP045
STATE = Annotated[TEXT, typer.Option(help=f"State of the plate: {', '.join(STATES)}.")]
SUPPORTS = Annotated[
    TEXT, typer.Option(help="What it lies on or hangs from, and where: 'pads: bass corner, tail, treble end'.")
]
AIR = Annotated[TEXT, typer.Option("--air-c", metavar="DEGREES", help="Temperature of the air, Celsius.")]
IRON = Annotated[TEXT, typer.Option("--iron-c", metavar="DEGREES", help="Temperature of the iron, Celsius.")]
IRON_END = Annotated[
    TEXT,
    typer.Option(
        "--iron-end-c", metavar="DEGREES", help="The same at the other end of the plate, by a second reading."
    ),
]
HOURS = Annotated[TEXT, typer.Option("--hours-in-room", metavar="HOURS", help="How long it has stood in this room.")]
SENSOR = Annotated[
    TEXT, typer.Option(metavar="|".join(SENSOR_KINDS), help="What listened: a pickup on the iron, or a microphone.")
]
SENSOR_NOTE = Annotated[TEXT, typer.Option(help="Anything about the sensor, in your words.")]
SENSOR_MASS = Annotated[
    TEXT, typer.Option("--sensor-mass-g", metavar="GRAMS", help="Mass of a sensor on the iron, wax or magnet included.")
]
SENSOR_PLACE = Annotated[TEXT, typer.Option(help="Where the sensor sat; the same words each time.")]
HAMMER = Annotated[TEXT, typer.Option(help="What was tapped with.")]
FITTING = Annotated[
    Optional[list[str]],  # noqa: UP045
    typer.Option(help="A fitting left on the plate; once for each."),
]
HELD = Annotated[bool, typer.Option("--held", help="Hook, screws, pads and pickup were held still during the taps.")]
PARTIAL = Annotated[
    bool, typer.Option("--partial", help="Part of the layout's places only: screen what was tapped, and say so.")
]
FULL = Annotated[bool, typer.Option("--full", help="The page with every figure, not the three or four pages to print.")]
ALTHOUGH = Annotated[
    TEXT, typer.Option(metavar="REASON", help="Why a scan with a finding may be a baseline all the same; is kept.")
]
ASSIGN = Annotated[
    Optional[list[str]],  # noqa: UP045
    typer.Option(
        metavar="FILE=STATION",
        help="Give a file, a tap (T7=S3), or all taps of a station to another station; exchanged ones: --assign S3=S4 --assign S4=S3.",
    ),
]
SKIP = Annotated[TEXT, typer.Option(metavar="NUMBERS", help="Leave out taps, by the numbers shown: 7,10-27.")]
SAME_PLATE = Annotated[
    bool, typer.Option("--same-plate", help="You made sure: it is this plate, and its places in this order.")
]
BARE = Annotated[bool, typer.Option("--bare", help="Looked, and no fitting was left on.")]
OPERATOR = Annotated[TEXT, typer.Option(help="Who tapped.")]
NOTES = Annotated[TEXT, typer.Option(help="Anything worth knowing later.")]
SEEN = Annotated[
    Optional[list[str]],  # noqa: UP045
    typer.Option(metavar="ITEM[:NOTE]", help="Seen by eye: iron-line, rust-line, cracked-finish, offset-edges, repair (weld, "
                 "braze or pin), missing-screws, loose-nose-bolts, pitch-not-held."),
]  # fmt: skip
MISTAKE = Annotated[
    TEXT,
    typer.Option(metavar="WHY", help="Why what may be a crack was noted though it was never there; both are kept."),
]
NOT_SEEN = Annotated[
    Optional[list[str]],  # noqa: UP045
    typer.Option(
        metavar="ITEM[:NOTE]",
        help="Looked for and not seen; `all` for every other item that is looked for (not pitch-not-held).",
    ),
]


def opened(told: str | None) -> "Register":
    """Raises RegisterProblem where there is none. What waits on this bench for a server is sent first."""
    from tapscan.workflow.last_register import missing, remember
    from tapscan.workflow.register import is_register, open_register, send_waiting

    where = place_of(told)
    if not is_register(where):
        raise RegisterProblem(missing(where))
    register = open_register(where)
    tell_trouble(remember(where))
    tell_trouble(send_waiting(register))
    return register


def tell_trouble(problem: str | None) -> None:
    """What went wrong beside the work, on standard error."""
    if problem:
        typer.echo(f"tapscan: {problem}", err=True)


def place_of(told: str | None) -> "Place":
    """The place given, else the usual one."""
    from tapscan.workflow import where

    return where.place_of(told) if told else where.usual_place()


def typed_as(place: "Place") -> str:
    """For another command of this program; it may hold a password and is shown to nobody."""
    return str(place) if isinstance(place, Path) else place.url


def folder_of(told: str | None) -> Path:
    """Of the place given, else of the usual one: where the shop's own defaults and layouts lie."""
    from tapscan.workflow import where

    return where.folder_of(place_of(told))


def day(text: str | None, option: str, register: str | None = None) -> dt.date:
    """A day, also in the shop's own form; today when nothing was typed. Raises BadRequest for one to come."""
    return typed.day(text, option, folder_of(register))


def fittings(named: Sequence[str] | None, bare: bool) -> tuple[str, ...] | None:
    """None: nobody looked."""
    if named and bare:
        raise WrongUsage("--bare says that nothing was left on, --fitting names something; leave one of them out")
    return () if bare else tuple(map(as_text, named)) if named else None


def tell_no_baseline(opened: "Register", wanted: "NewScan", entry: "ScanEntry") -> None:
    """Where a scan was to be a baseline and something speaks against it."""
    from tapscan.workflow.standing import against_baseline, no_baseline

    if not wanted.baseline or entry.baseline:
        return
    mark = f"tapscan plate baseline {argument(entry.plate)} {argument(entry.name)}"
    if barred := no_baseline(entry):
        told = f"{barred}; then {mark}"
    else:
        said = "; ".join(against_baseline(opened, entry))
        told = (
            f'{said}. Later scans would take this for the plate\'s normal state. If it is: {mark} --although "reason"'
        )
    typer.echo(f"tapscan: {entry.name} is stored, but not as a baseline: {told}", err=True)


def checklist(seen: Sequence[str] | None, not_seen: Sequence[str] | None) -> tuple["Finding", ...]:
    """What was answered; an item that is not named was not looked at."""
    from tapscan.workflow.scan import Finding, both_notes

    found: dict[str, Finding] = {}
    for text in not_seen or ():
        item, note = _item(text)
        for one in BY_EYE if item == "all" else (item,):
            found[one] = Finding(one, "not seen", note)
    for text in seen or ():
        item, note = _item(text)
        was = found.get(item)
        found[item] = Finding(item, "seen", both_notes(was.note, note) if was and was.answer == "seen" else note)
    for item in found:
        if item not in CHECKLIST:
            raise WrongUsage(f"{item!r} is not on the visual checklist; on it are {', '.join(CHECKLIST)}")
    return tuple(found[item] for item in CHECKLIST if item in found)


def _item(text: str) -> tuple[str, str | None]:
    item, _, note = as_text(text).partition(":")
    return item.strip().lower().replace(" ", "-"), note.strip() or None
