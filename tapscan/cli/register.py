"""`tapscan register`: is it whole, a copy of it, and its content for other programs."""

from pathlib import Path
from typing import Annotated, Optional

import typer

from tapscan.cli import options as o
from tapscan.errors import WrongUsage, if_stopped

app = typer.Typer(help="The register: is it whole, copy it, take its content elsewhere.", no_args_is_help=True)
MOST_LINES = 40
GOES_ON = "scans that are screened stay so, and the same command goes on with the rest"
WHOLE = "Everything is there and unaltered."


@app.command("check")
def check(register: o.REGISTER = None) -> None:
    """Check that every file is present and unchanged, and every entry has its files. Nothing is changed."""
    from tapscan.cli.progress import progress_line
    from tapscan.workflow.register import check_register

    opened = o.opened(register)
    with progress_line() as progress:
        found = check_register(opened, lambda done, total: progress("checking files", done, total))
    typer.echo(f"{opened.told}: plates {found.plates}, scans {found.scans}, files {found.files}.")
    for line in found.wrong[:MOST_LINES]:
        typer.echo(f"wrong: {line}")
    if len(found.wrong) > MOST_LINES:
        typer.echo(f"and {len(found.wrong) - MOST_LINES} more")
    for line in found.leftover[:MOST_LINES]:
        typer.echo(f"left over, harmless; may be deleted while nobody is storing: {line}")
    if len(found.leftover) > MOST_LINES:
        typer.echo(f"and {len(found.leftover) - MOST_LINES} more left over")
    if found.wrong:
        typer.echo("tapscan: the register is damaged; take what is missing from a backup", err=True)
        raise typer.Exit(1)
    typer.echo(f"Nothing was found missing or altered. {found.unsure}" if found.unsure else WHOLE)


@app.command("backup")
def backup(
    target: Annotated[Path, typer.Argument(help="A folder that does not exist yet, best on another disk.")],
    register: o.REGISTER = None,
) -> None:
    """Copy the whole register, even while it is in use. The copy is a register itself."""
    from tapscan.cli.progress import progress_line
    from tapscan.workflow.register import back_up

    opened = o.opened(register)
    with progress_line() as progress:
        made = back_up(opened, target, lambda done, total: progress("copying files", done, total))
    typer.echo(f"Copied to {made.folder}: database and {made.files} files, {made.size_bytes / 1e6:.1f} MB.")
    for line in made.missing:
        typer.echo(f"tapscan: not copied: {line}", err=True)
    if made.missing:
        raise typer.Exit(1)


@app.command("restore")
def restore_backup(
    backup: Annotated[Path, typer.Argument(help="The folder of a backup.")],
    register: o.REGISTER = None,
) -> None:
    """Make a register from a backup, in a new or empty folder: --register, else where the register usually lies."""
    from tapscan.cli.progress import progress_line
    from tapscan.workflow.last_register import remember
    from tapscan.workflow.register import restore

    with progress_line() as progress:
        made = restore(backup, _folder(register), lambda done, total: progress("copying files", done, total))
    typer.echo(f"Restored to {made.folder}: database and {made.files} files, each present and unchanged.")
    o.tell_trouble(remember(made.folder))
    for line in made.missing:
        typer.echo(f"tapscan: not in the backup: {line}", err=True)
    if made.missing:
        raise typer.Exit(1)


def _folder(register: str | None) -> Path:
    place = o.place_of(register)
    if not isinstance(place, Path):
        raise WrongUsage("a backup is put on a server by: tapscan register move ADDRESS --files URL --register BACKUP")
    return place


@app.command("move")
def move(
    target: Annotated[
        str, typer.Argument(metavar="FOLDER|ADDRESS", help="A new folder, or an empty database on a server.")
    ],
    files: Annotated[
        o.TEXT,
        typer.Option(metavar="URL", help="Where recordings go, with a server: file:///FOLDER or s3://BUCKET/FOLDER."),
    ] = None,
    leave_missing: Annotated[
        bool, typer.Option("--leave-missing", help="Go on without recordings that are lost or damaged already.")
    ] = False,
    register: o.REGISTER = None,
) -> None:
    """Copy the whole register from a folder to a server, or back: whole, or not at all. The source is only read.

    Everything is read back and compared before the copy is called ready. A copy that was stopped is not opened by any command; the same command begins it anew.
    """
    from tapscan.cli.progress import progress_line
    from tapscan.workflow.register import checked_url, move_register

    opened, place = o.opened(register), o.place_of(target)
    with progress_line() as progress:
        moved = move_register(
            opened, place, checked_url(files) if files else None, progress, leave_missing=leave_missing
        )
    name = place if isinstance(place, Path) else place.shown
    typer.echo(
        f"Moved to {name}: plates {moved.plates}, scans {moved.scans}, files {moved.files}, each read back and the same."
    )
    for line in moved.missing:
        typer.echo(f"tapscan: not moved: {line}", err=True)
    typer.echo(f"Work with that one from now on: --register {name}, or TAPSCAN_REGISTER. The other is as it was.")
    if moved.missing:
        raise typer.Exit(1)


@app.command("accounts")
def accounts(
    bench: Annotated[str, typer.Option(help="Account with which benches read and write.")] = "bench",
    reader: Annotated[str, typer.Option(help="Account that may only read.")] = "reader",
) -> None:
    """Write the SQL that makes a bench's and a reader's account on a server, for psql. No password is in it.

    tapscan register accounts | psql -h SERVER -U OWNER DATABASE
    """
    from tapscan.workflow.register import accounts_sql

    typer.echo(accounts_sql(bench, reader))


@app.command("export")
def export(
    target: Annotated[Path, typer.Argument(help="A new folder for CSV, or a file ending in .json.")],
    register: o.REGISTER = None,
) -> None:
    """Write plates, scans and results as CSV for a spreadsheet, or as JSON for a program."""
    from tapscan.workflow.exports import export_csv, export_json

    opened = o.opened(register)
    if target.suffix.lower() == ".json":
        export_json(opened, target)
        typer.echo(f"Written: {target}")
    elif target.suffix.lower() == ".csv":
        raise WrongUsage(f"{target}: CSV is several files; name a folder, for example {target.with_suffix('')}")
    else:
        typer.echo(f"Written to {target}: {', '.join(export_csv(opened, target))}")


@app.command("rescreen")
def rescreen(
    pattern: Annotated[o.TEXT, typer.Option(help="Plates of this pattern only.")] = None,
    since: Annotated[o.TEXT, typer.Option(metavar="DATE", help="Scans tapped on that day or later.")] = None,
    scheduler: Annotated[
        o.TEXT,
        typer.Option(
            metavar="ADDRESS", help="A Dask scheduler whose workers see the same folder or server; else this machine."
        ),
    ] = None,
    workers: Annotated[Optional[int], typer.Option(min=1, help="Processes on this machine; else one a core.")] = None,  # noqa: UP045
    settings: o.SETTINGS = None,
    register: o.REGISTER = None,
) -> None:
    """Screen all stored scans anew with present settings. Earlier results are kept.

    Each scan is stored as it comes, and one that is done is not done again: whoever is stopped starts the same command once more.
    """
    from tapscan.cli.progress import progress_line
    from tapscan.cli.tables import print_table
    from tapscan.workflow.rescreen_all import rescreen_all, waiting
    from tapscan.workflow.settings import read_settings

    opened, thresholds = o.opened(register), read_settings(settings)
    left = waiting(opened, thresholds, o.words(pattern), o.day(since, "--since", register) if since else None)
    if not left:
        typer.echo("No scan that was asked for is left: this version has screened them with these settings.")
        return
    done = []
    with if_stopped(lambda: GOES_ON), progress_line(remaining=True) as progress:
        for one in rescreen_all(opened, left, thresholds, scheduler, workers):
            done.append(one)
            progress("screening scans", len(done), len(left))
    failed, changed = [d for d in done if d.trouble], sorted((d for d in done if d.changed), key=lambda d: d.scan)
    for one in failed:
        typer.echo(f"tapscan: {one.scan}: {one.trouble}; nothing was changed", err=True)
    typer.echo(f"Screened anew: {len(done) - len(failed)} of {len(left)}. Another answer: {len(changed)}.")
    if changed:
        print_table(("scan", "before", "now"), [(d.scan, d.before, d.after or "") for d in changed])
    if failed:
        raise typer.Exit(1)


@app.command("evidence")
def evidence(json: o.JSON = None, register: o.REGISTER = None) -> None:
    """Count what examinations found against what tapscan had said, on your own plates: by rule, state and sensor.

    Each plate counts once, by its newest scan with an outcome. Below 30 plates no rate is given.
    """
    from tapscan.cli.tables import print_table
    from tapscan.cli.writing import write_json
    from tapscan.workflow.evidence import evidence_json, evidence_of, evidence_rows, left_out, too_few

    found = evidence_of(o.opened(register))
    if json is not None and not write_json(evidence_json(found), json):
        raise typer.Exit(1)
    if json == "-":
        return
    for line in left_out(found):
        typer.echo(line)
    if not found.examined:
        typer.echo("No scan has an outcome yet: tapscan scan outcome SCAN says what an examination found.")
        return
    print_table(("", "found, of plates with a flaw", "false calls, of the others", "not run"), evidence_rows(found))
    if told := too_few(found):
        typer.echo(f"\n{told}")
