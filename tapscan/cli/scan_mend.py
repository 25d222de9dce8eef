"""`tapscan scan void` and `tapscan scan move`: a scan that should not count, or belongs to another plate."""

from typing import TYPE_CHECKING, Annotated

import typer

from tapscan.cli import options as o
from tapscan.cli.sharing import JOBS, progress_of
from tapscan.errors import WrongUsage
from tapscan.wording import argument
from tapscan.workflow.sharing import shared_work

if TYPE_CHECKING:
    from tapscan.records import Screening
    from tapscan.workflow.register import Register
    from tapscan.workflow.scan import ScanEntry

ON = Annotated[o.TEXT, typer.Option(metavar="DATE", help="Day; else today.")]


def void(
    name: o.SCAN,
    reason: Annotated[str, typer.Option(help="Why it does not count; stands beside it from now on.")] = "",
    on: ON = None,
    undo: Annotated[bool, typer.Option("--undo", help="Let it count again.")] = False,
    register: o.REGISTER = None,
) -> None:
    """Cross a scan out: it is kept and shown with the reason, and never compared."""
    from tapscan.workflow.crossed_out import cross_out
    from tapscan.workflow.scan import find_scan, restore_scan

    opened = o.opened(register)
    before = find_scan(opened, name)
    if undo:
        if reason or on:
            raise WrongUsage("--undo takes no reason and no day; leave them out")
        typer.echo(f"{restore_scan(opened, before.name).name} counts again.")
    else:
        entry, told = cross_out(opened, before.name, reason, o.day(on, "--on", register))
        typer.echo(f"{entry.name} is {entry.crossed_out}. It is kept; --undo lets it count again.")
        for line in told:
            typer.echo(line)
    _name_compared(opened, before.name, before.plate)


def move(
    name: o.SCAN,
    plate: Annotated[str, typer.Argument(help="The plate it belongs to; its name in full.")],
    reason: Annotated[str, typer.Option(help="Why; is kept with the scan.")] = "",
    to: Annotated[
        o.TEXT,
        typer.Option(
            metavar="DATE", help="The day on which it was tapped, where that was wrong; PLATE may be its own."
        ),
    ] = None,
    on: ON = None,
    register: o.REGISTER = None,
    jobs: JOBS = None,
) -> None:
    """Give a scan to another plate or day, with its recordings, checklist and outcomes. It is read anew beside the plate's scans."""
    from tapscan.workflow.moved import read_moved
    from tapscan.workflow.scan import find_scan, move_scan
    from tapscan.workflow.settings import read_settings

    opened = o.opened(register)
    before = find_scan(opened, name)
    day = o.day(to, "--to", register) if to is not None else None
    entry = move_scan(opened, before.name, plate, reason, o.day(on, "--on", register), day)
    typer.echo(f"{before.name} is now {entry.name}.")
    if before.baseline and not entry.baseline:
        typer.echo(
            f"It is no baseline scan any more: `tapscan plate baseline {argument(entry.plate)}` names those of its plate."
        )
    _name_compared(opened, before.name, before.plate)
    with shared_work(jobs, sum(f.size_bytes for f in entry.files)) as workers, progress_of(workers):
        moved = read_moved(opened, entry, read_settings(None), workers)
    if moved.failed:
        typer.echo(f"tapscan: {moved.told}", err=True)
        raise typer.Exit(1)
    typer.echo(moved.told)
    if moved.kept and moved.kept.entry and moved.kept.screening:
        print_kept(opened, moved.kept.entry, moved.kept.screening)


def print_kept(opened: "Register", entry: "ScanEntry", screening: "Screening") -> None:
    """What a scan says that was just read anew, with what an earlier reading had found."""
    from tapscan.cli.summary import print_summary
    from tapscan.workflow.notices import to_show

    now, told = to_show(opened, entry, screening, None)
    print_summary(now, None, told, newer(opened, entry), entry.name)
    typer.echo(f"\nStored as screening {entry.current.number} of {entry.name}; the earlier ones are kept.")


def newer(opened: "Register", entry: "ScanEntry") -> list[str]:
    """What later scans of the plate say."""
    from tapscan.workflow.standing import later

    return [one.told for one in later(opened, entry)]


def _name_compared(opened: "Register", name: str, plate: str) -> None:
    from tapscan.workflow.scan import compared_with

    for other in compared_with(opened, name, plate):
        typer.echo(f"Had been compared with it: {other}; tapscan scan rescreen {argument(other)}")
