"""`tapscan scan`: what was heard of a plate on one day. The import has a file of its own."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

from tapscan.cli import options as o
from tapscan.cli import scan_mend
from tapscan.cli.facts import NOTHING, Typed
from tapscan.cli.groups import grouped
from tapscan.cli.played import how_to_resume
from tapscan.cli.scan_import import import_scan
from tapscan.cli.scan_record import record
from tapscan.cli.sharing import JOBS, progress_of
from tapscan.clock import clock, with_zone
from tapscan.errors import WrongUsage
from tapscan.workflow.sharing import shared_work

if TYPE_CHECKING:
    from tapscan.workflow.scan import ScanEntry

app = typer.Typer(help="Scans: one plate, one day, one set of taps.", no_args_is_help=True)
app.command("record")(record)
app.command("import")(import_scan)
app.command("void")(scan_mend.void)
app.command("move")(scan_mend.move)
UNKNOWN = "unknown"


@app.command("list")
def list_all(
    plate: Annotated[Optional[str], typer.Argument(help="Only the scans of this plate.")] = None,  # noqa: UP045
    register: o.REGISTER = None,
) -> None:
    """List the scans, oldest first."""
    from tapscan.cli.tables import print_scans
    from tapscan.workflow.as_listed import scan_lines
    from tapscan.workflow.at_a_glance import next_of
    from tapscan.workflow.scan import unfinished_scans
    from tapscan.workflow.taken import what_of

    opened = o.opened(register)
    lines = scan_lines(opened, plate)
    if lines:
        print_scans(lines)
    else:
        typer.echo("No scans yet: tapscan scan record, or tapscan scan import")
    for name, told in next_of(opened, plate).items():
        typer.echo(f"Next for {name}: {told}")
    for u in unfinished_scans(opened, plate):
        typer.echo(
            f"Unfinished: {u.plate}, begun {clock(u.begun_utc)}, {len(u.kept)} {what_of(u, len(u.kept))}; {how_to_resume(u)}"
        )


@app.command("show")
def show(
    name: o.SCAN,
    screening: Annotated[
        Optional[int], typer.Option(min=1, help="An earlier screening, by its number.")  # noqa: UP045
    ] = None,
    json: o.JSON = None,
    report: o.REPORT = None,
    register: o.REGISTER = None,
) -> None:
    """Show one scan: how it was made, what was seen, what tapscan said, what came out later."""
    from tapscan.cli.summary import print_summary
    from tapscan.cli.writing import write_json, write_page
    from tapscan.workflow.import_scan import stored_screening
    from tapscan.workflow.notices import to_show
    from tapscan.workflow.report import dumps
    from tapscan.workflow.round_words import seen_rows
    from tapscan.workflow.scan import checklist_in, find_scan
    from tapscan.workflow.standing import registered
    from tapscan.workflow.write_report import PLAIN, write_report

    opened = o.opened(register)
    entry = find_scan(opened, name)
    found, told = to_show(opened, entry, stored_screening(opened, entry, screening), screening)
    written = json is None or write_json(dumps(found, registered(entry)), json)
    if report:
        written = write_page(report, lambda: write_report(opened, entry.name, report, PLAIN, screening)) and written
    if json != "-":
        for line in _facts(entry, seen_rows(opened, entry, checklist_in(entry.conditions.state, entry.checklist))):
            typer.echo(line)
        print_summary(found, report if written else None, told, scan_mend.newer(opened, entry), name)
    if not written:
        raise typer.Exit(1)


def _facts(e: "ScanEntry", seen: "Sequence[tuple[str, str, str]]") -> list[str]:
    from tapscan.cli.tables import shown

    c = e.conditions
    fittings = UNKNOWN if c.fittings is None else ", ".join(c.fittings) or "none, looked"
    facts = [
        ("state", c.state),
        ("supports", c.supports),
        ("air, iron", f"{_degrees(c.air_c)}, {_degrees(c.iron_c)}{_other_end(c.iron_end_c)}"),
        ("hours in room", None if c.hours_in_room is None else f"{c.hours_in_room:g}"),
        ("sensor", c.sensor.told),
        ("hammer", c.hammer),
        ("fittings left", fittings),
        ("tapped by", e.operator),
        ("layout", e.layout),
        ("notes", e.notes),
        ("recordings", ", ".join(f.name for f in e.files)),
        ("reference bar", _bar(e)),
    ]
    kind = f", {e.crossed_out}" if e.crossed_out else ", a baseline scan" if e.baseline else ""
    lines = [f"Scan {e.name}{shown(kind)}"]
    lines += [f"  {label + ':':16} {shown(value or UNKNOWN)}" for label, value in facts]
    lines += [*_seen(e, seen), *_screenings(e)]
    for outcome in e.outcomes:
        told = f"{outcome.found} ({outcome.method}, {outcome.by_whom}, {outcome.on})"
        lines.append(f"  {'found later:':16} {shown(told)}{': ' + shown(outcome.note) if outcome.note else ''}")
    return [*lines, ""]


def _bar(e: "ScanEntry") -> str:
    if e.bar is None:
        return "not tapped"
    turns = [when for when, files in (("before", e.bar.first), ("after", e.bar.last)) if files]
    return f"{e.bar.name}, tapped {' and '.join(turns)}"


def _seen(e: "ScanEntry", seen: "Sequence[tuple[str, str, str]]") -> list[str]:
    from tapscan.cli.tables import shown

    lines = ["  Seen by eye:"]
    lines += [f"    {what + ':':37} {answer}{': ' + shown(note) if note else ''}" for what, answer, note in seen]
    return lines + [f"    noted by mistake: {shown(one.told)}" for one in e.taken_back]


def _screenings(e: "ScanEntry") -> list[str]:
    now = e.current
    line = f"  {'screened:':16} {with_zone(now.made_utc)} by tapscan {now.tapscan_version}, settings {now.settings_sha256[:12]}"
    more = len(e.screenings) - 1
    return [line + (f" (screening {now.number}; {more} earlier kept)" if more else "")]


def _other_end(celsius: float | None) -> str:
    return "" if celsius is None else f" ({_degrees(celsius)} at the other end)"


def _degrees(celsius: float | None) -> str:
    return UNKNOWN if celsius is None else f"{celsius:g} °C"


@app.command("edit")
@grouped
def edit(
    name: o.SCAN,
    facts: Typed = NOTHING,
    operator: o.OPERATOR = None,
    notes: o.NOTES = None,
    seen: o.SEEN = None,
    not_seen: o.NOT_SEEN = None,
    mistake: o.MISTAKE = None,
    register: o.REGISTER = None,
) -> None:
    """Mend what is written about a scan. `unknown` clears a value. Recordings and results are not touched."""
    own = {key: o.words(value) for key, value in (("operator", operator), ("notes", notes)) if value is not None}
    found = o.checklist(seen, not_seen)
    if facts == NOTHING and not (own or found):
        raise WrongUsage("nothing to change was named; `tapscan scan edit --help` lists what can be")
    for line in _edit(o.opened(register), name, facts, own, found, o.words(mistake)):
        typer.echo(line)


def _edit(opened: Any, name: str, facts: Typed, own: dict[str, Any], found: Any, mistake: str | None) -> list[str]:
    """What is said of it."""
    from msgspec.structs import replace

    from tapscan.workflow.known_since import changed
    from tapscan.workflow.scan import edit_scan

    unread: list[str] = []

    def change(e: "ScanEntry") -> "ScanEntry":
        known, made = {f.item: f for f in (*e.checklist, *found)}, facts.changed(e.conditions)
        unread[:] = [f"{said}: tapscan scan rescreen" for said in (changed(e.conditions, made),) if said]
        return replace(e, conditions=made, checklist=tuple(known.values()), **own)

    return [f"Changed scan {edit_scan(opened, name, change, mistake).name}.", *unread]


@app.command("rescreen")
def rescreen(
    name: o.SCAN,
    layout: Annotated[Optional[str], typer.Option(help="Another layout than before.")] = None,  # noqa: UP045
    per_station: Annotated[Optional[int], typer.Option(min=1, help="Taps a station, if told wrongly.")] = None,  # noqa: UP045
    order: Annotated[Optional[str], typer.Option(help="Force of the taps, if told wrongly.")] = None,  # noqa: UP045
    assign: o.ASSIGN = None,
    skip: o.SKIP = None,
    same_plate: o.SAME_PLATE = False,
    settings: o.SETTINGS = None,
    register: o.REGISTER = None,
    jobs: JOBS = None,
) -> None:
    """Screen a stored scan anew from its recordings, with present settings. Earlier results are kept."""
    from tapscan.workflow.import_scan import rescreen as again
    from tapscan.workflow.scan import find_scan
    from tapscan.workflow.settings import read_settings

    changes = _reading_told(layout, per_station, order, assign, skip, same_plate, register)
    opened, thresholds = o.opened(register), read_settings(settings)
    with shared_work(jobs, sum(f.size_bytes for f in find_scan(opened, name).files)) as workers, progress_of(workers):
        kept = again(opened, name, thresholds, workers, changes)
    for line in kept.unreadable:
        typer.echo(f"tapscan: {line}", err=True)
    if kept.entry is None or kept.screening is None:
        typer.echo(
            "tapscan: nothing was changed; `tapscan register check` tells which recordings are damaged", err=True
        )
        raise typer.Exit(1)
    scan_mend.print_kept(opened, kept.entry, kept.screening)


def _reading_told(
    layout: str | None,
    per_station: int | None,
    order: str | None,
    assign: Sequence[str] | None,
    skip: str | None,
    sure: bool,
    register: str | None,
) -> dict[str, Any]:
    """Fields of a Request that differ from how the recordings were read before."""
    from tapscan.workflow.layout import read_assign, read_layout, read_order, read_skip
    from tapscan.workflow.own_layouts import layout_at

    told = {
        "layout": read_layout(layout_at(o.folder_of(register), layout)) if layout else None,
        "per_station": per_station,
        "order": read_order(order) if order is not None else None,
        "assign": tuple(read_assign(text) for text in assign or ()),
        "skip": tuple(read_skip(skip)) if skip else (),
        "sure": sure,
    }
    return {key: value for key, value in told.items() if value}


@app.command("outcome")
def outcome(
    name: o.SCAN,
    found: Annotated[str, typer.Option(help="What was found, or that nothing was.")],
    method: Annotated[
        str, typer.Option(help="How: magnetic particles, hardness test, replica, penetrant, taken apart, ...")
    ],
    by: Annotated[str, typer.Option(help="Who examined it.")],
    on: Annotated[o.TEXT, typer.Option(metavar="DATE", help="Day; else today.")] = None,
    note: Annotated[o.TEXT, typer.Option(help="Anything else.")] = None,
    part: Annotated[
        bool,
        typer.Option("--part", help="--found names the part that caused the finding and was fixed since."),
    ] = False,
    clean: Annotated[
        bool,
        typer.Option("--clean", help="Nothing was found; --found says what was looked at. Else it counts as a flaw."),
    ] = False,
    explains: Annotated[
        bool, typer.Option("--explains", help="--found says what it was that the eye had seen, and that is no flaw.")
    ] = False,
    of: Annotated[
        str,
        typer.Option(metavar="ITEM", help="With --explains, where several things were seen: which, such as iron-line."),
    ] = "",
    register: o.REGISTER = None,
) -> None:
    """Note what a later examination of the plate found: only that shows what a scan was worth."""
    from tapscan.workflow.outcome import note_outcome
    from tapscan.workflow.scan import Outcome

    if part and not found.strip():
        raise WrongUsage("--part needs the part's name in --found, such as --found 'hook at the tail'")
    if of and not explains:
        raise WrongUsage("--of says which of the things that were seen is explained: give --explains with it")
    kind = _kind(part=part, clean=clean, seen=explains)
    told = Outcome(found, method, by, o.day(on, "--on", register), o.words(note))
    noted = note_outcome(o.opened(register), name, kind, told, of)
    typer.echo(f"Noted for {noted.entry.name}: {noted.found} ({method}, {by}).")
    if noted.closed:
        typer.echo(noted.closed)


def _kind(**ticked: bool) -> str:
    """For note_outcome."""
    told = [kind for kind, so in ticked.items() if so]
    if len(told) > 1:
        raise WrongUsage("--part, --clean and --explains contradict each other; leave all but one of them out")
    return told[0] if told else "flaw"
