"""`tapscan scan import`: recordings into the register, shown before they are stored."""

import datetime as dt
import sys
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Annotated

import typer
from msgspec import Struct
from msgspec.structs import replace

from tapscan.cli import options as o
from tapscan.cli.bar import BarRecordings
from tapscan.cli.facts import NOTHING, Typed, tell_no_sensor, with_sensor
from tapscan.cli.groups import grouped
from tapscan.cli.kept import Kept
from tapscan.cli.played import Keys
from tapscan.cli.sharing import JOBS
from tapscan.cli.sure import asking
from tapscan.cli.taps import Taps
from tapscan.cli.visited import as_visited
from tapscan.errors import WrongUsage
from tapscan.workflow.sharing import bytes_of, shared_work

if TYPE_CHECKING:
    from tapscan.records import Doubt, ScanConditions
    from tapscan.workers import Workers
    from tapscan.workflow.check import Request
    from tapscan.workflow.import_scan import Kept as Stored
    from tapscan.workflow.layout import AssignedTap
    from tapscan.workflow.register import Register
    from tapscan.workflow.scan import NewScan

MOST_TAPS = 6


class Mended(Struct, frozen=True):
    """Taps given elsewhere or left out by hand."""

    assign: o.ASSIGN = None
    skip: o.SKIP = None


class Said(Struct, frozen=True):
    """What a person says of the scan."""

    baseline: Annotated[bool, typer.Option("--baseline", help="Later scans are compared with this one.")] = False
    although: o.ALTHOUGH = None
    operator: o.OPERATOR = None
    notes: o.NOTES = None
    seen: o.SEEN = None
    not_seen: o.NOT_SEEN = None

    def of(self, on: dt.date, conditions: "ScanConditions") -> "NewScan":
        """Raises BadRequest for what is not on the checklist."""
        from tapscan.workflow.scan import NewScan

        eye = o.checklist(self.seen, self.not_seen)
        words = (o.words(self.operator), o.words(self.notes))
        return NewScan(on, conditions, *words, self.baseline, eye, baseline_although=o.words(self.although))


class Answers(Struct, frozen=True):
    """Given beforehand to what would be asked."""

    dry_run: Annotated[bool, typer.Option("--dry-run", help="Show which tap goes where, and store nothing.")] = False
    yes: Annotated[bool, typer.Option("--yes", help="Store without asking.")] = False
    same_plate: o.SAME_PLATE = False
    again: Annotated[bool, typer.Option("--again", help="Store recordings a second time.")] = False


@grouped
def import_scan(
    plate: o.PLATE,
    files: Annotated[list[str], typer.Argument(help="Recordings: WAV, FLAC, AIFF, OGG, MP3, M4A/AAC.")],
    date: Annotated[
        o.TEXT, typer.Option(help="Day it was tapped, year-month-day or in the shop's own form; else today.")
    ] = None,
    taps: Taps = Taps(),
    mended: Mended = Mended(),
    keys: Keys = Keys(),
    said: Said = Said(),
    bar: BarRecordings = BarRecordings(),
    facts: Typed = NOTHING,
    settings: o.SETTINGS = None,
    answers: Answers = Answers(),
    register: o.REGISTER = None,
    jobs: JOBS = None,
) -> None:
    """Screen recordings and store them with the plate: the sounds unaltered, and all that was heard in them.

    One file is one station (its name before the first "_"); one long file is split at its pauses with
    --layout or --per-station. The taps are shown before anything is stored; what is wrong is mended with --assign
    and --skip. A plate with a baseline is compared with it. With --played the recording is of keys, not of taps:
    which keys, what buzzes along and what rings on is told, and nothing of cracks.
    """
    if not (answers.yes or answers.dry_run or sys.stdin.isatty()):
        raise WrongUsage("add --yes to save without asking, or --dry-run to look only")
    with shared_work(jobs, bytes_of(files)) as workers:
        kept = Kept(register)
        taps = taps if keys.played else taps.filled(kept)
        on = o.day(date, "--date", register)
        facts = as_visited(o.opened(register), plate, on, facts)
        facts = kept.facts(facts, played=keys.played, files=files)
        kept.tell()
        request = keys.of(_request(taps, mended, answers, settings))
        facts = facts if answers.dry_run else with_sensor(facts, ask=not answers.yes, tell=False)
        new = said.of(on, facts.conditions())
        request = replace(request, bar=bar.files(o.opened(register)))
        if _run(plate, files, new, request, register, answers, workers) and facts.sensor is None:
            tell_no_sensor()


def _request(taps: Taps, mended: Mended, answers: Answers, settings: Path | None) -> "Request":
    from tapscan.workflow.layout import read_assigns, read_skip

    return replace(
        taps.request(settings, None, pictures=True),
        as_split=answers.dry_run,
        sure=answers.same_plate,
        assign=read_assigns(mended.assign or ()),
        skip=tuple(read_skip(mended.skip)) if mended.skip else (),
    )


def _ask(dry_run: bool, yes: bool) -> Callable[[], bool]:
    def ask() -> bool:
        if dry_run:
            typer.echo("\nNothing was stored (--dry-run).")
            return False
        return yes or typer.confirm("\nIs this right, and shall it be stored?", default=False)

    return ask


def _run(
    plate: str,
    files: list[str],
    new: "NewScan",
    request: "Request",
    register: str | None,
    answers: Answers,
    workers: "Workers",
) -> bool:
    """Whether it was stored."""
    from tapscan.cli.summary import print_summary
    from tapscan.workflow.notices import notices

    opened = o.opened(register)
    kept = _kept(opened, plate, files, new, request, answers, workers)
    for told in kept.unreadable:
        typer.echo(f"tapscan: {told}", err=True)
    if kept.unreadable:
        typer.echo("tapscan: nothing was stored; mend or leave out what cannot be read and do it again", err=True)
        raise typer.Exit(1)
    if kept.entry is None or kept.screening is None:
        return False
    print_summary(kept.screening, None, notices(opened, kept.entry, kept.screening), stored=kept.entry.name)
    o.tell_no_baseline(opened, new, kept.entry)
    count = len(kept.entry.files)
    typer.echo(f"\nStored as {kept.entry.name}: {count} recording{'s' * (count != 1)} in {opened.told}.")
    return True


def _kept(
    opened: "Register",
    plate: str,
    files: list[str],
    new: "NewScan",
    request: "Request",
    answers: Answers,
    workers: "Workers",
) -> "Stored":
    """Screened and stored, with questions between; a bar would run through a question."""
    from tapscan.cli.progress import progress_line
    from tapscan.workflow.import_scan import import_scan as keep

    ask, ask_sure = _ask(answers.dry_run, answers.yes), asking(not answers.yes, refused=False)
    with ExitStack() as bars:
        line = [bars.enter_context(progress_line())]

        def agree(taps: "Sequence[AssignedTap]", remarks: Sequence[str]) -> bool:
            bars.close()
            print_assignment(taps, remarks)
            right = ask()
            line[0] = bars.enter_context(progress_line())
            return right

        def sure(doubts: "Sequence[Doubt]") -> bool | None:
            bars.close()
            return ask_sure(doubts)

        def progress(stage: str, done: int, total: int) -> None:
            line[0](stage, done, total)  # another bar after the question

        workers.progress = progress
        return keep(opened, plate, files, new, request, workers, agree, sure, again=answers.again)


def print_assignment(taps: "Sequence[AssignedTap]", remarks: Sequence[str]) -> None:
    """One line a station; then what is missing or double, and how to mend it. No taps: keys were played."""
    from tapscan.cli.bullets import bullet, console
    from tapscan.cli.tables import print_table

    if not taps:
        for remark in remarks:
            console().print(bullet(remark))
        return
    stations: dict[str, list[AssignedTap]] = {}
    for tap in taps:
        stations.setdefault(tap.station, []).append(tap)
    one = len({t.recording for t in taps}) == 1
    rows = [(name, str(len(mine)), _taps(mine, one), _files(mine)) for name, mine in stations.items()]
    print_table(("station", "taps", "which, and when (s)", "recording"), rows)
    out = console()
    for remark in remarks:
        out.print(bullet(remark))
    typer.echo(
        "To correct this: --skip 7 leaves out tap T7, --assign FILE=S3 or T7=S3 gives it to station S3, also where it was left out."
    )


def _taps(mine: "Sequence[AssignedTap]", one: bool) -> str:
    told = [f"{t.name} {t.onset_s:.1f}{' ' + t.force if t.force else ''}" for t in mine[:MOST_TAPS]]
    return ", ".join(told) + (f" and {len(mine) - MOST_TAPS} more" if len(mine) > MOST_TAPS else "")


def _files(mine: "Sequence[AssignedTap]") -> str:
    names = list(dict.fromkeys(PurePath(t.recording).name for t in mine))
    return ", ".join(names[:2]) + (f" and {len(names) - 2} more" if len(names) > 2 else "")
