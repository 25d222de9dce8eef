"""`tapscan settings`: every threshold, and what the shop does every time."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from tapscan.cli import options as o
from tapscan.errors import BadRequest, WrongUsage

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tapscan.workflow.settings import Threshold

app = typer.Typer(invoke_without_command=True)


@app.callback()
def settings(
    context: typer.Context,
    stage: Annotated[o.TEXT, typer.Option(metavar="NAME", help="Only this stage or rule: fit, long-decay.")] = None,
    file: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option("--settings", metavar="FILE.toml", help="With the values of this file; what differs is marked."),
    ] = None,
) -> None:
    """List every threshold by stage: path, value, unit, what it is for, and its source.

    A file for --settings holds those that are to be other: `tapscan settings write` makes one with all of them.
    """
    from tapscan.workflow.settings import every_threshold, read_settings

    if context.invoked_subcommand is not None:
        return
    used, shipped = read_settings(file), {t.path: t.value for t in every_threshold(read_settings(None))}
    chosen = _of_stage(every_threshold(used), stage)
    for name in dict.fromkeys(t.stage for t in chosen):
        typer.echo(f"[{name}]")
        for t in chosen:
            if t.stage == name:
                _print(t, shipped[t.path])
        typer.echo()


def _of_stage(every: "Sequence[Threshold]", stage: str | None) -> "list[Threshold]":
    """By the stage's name, capitals aside; a rule's also without `rules.` before it."""
    wanted = (stage or "").strip().casefold().replace(" ", "-")
    found = [t for t in every if not wanted or wanted in (t.stage, t.stage.removeprefix("rules."))]
    if not found:
        raise WrongUsage(f"--stage {stage!r} is unknown; one of {', '.join(dict.fromkeys(t.stage for t in every))}")
    return found


def _print(t: "Threshold", shipped: float) -> None:
    changed = "" if t.value == shipped else f"   (ships as {shipped:g})"
    typer.echo(f"  {t.path} = {t.value:g} {'' if t.unit == '1' else t.unit}".rstrip() + changed)
    typer.echo(f"      {t.reason}; source: {t.source}")


@app.command("write")
def write(
    target: Annotated[Path, typer.Argument(metavar="FILE.toml", help="A new file; none that is there is replaced.")],
    stage: Annotated[o.TEXT, typer.Option(metavar="NAME", help="Only this stage or rule.")] = None,
) -> None:
    """Write the thresholds that ship as a file for --settings, to be changed there."""
    from tapscan.workflow.report import write_text
    from tapscan.workflow.settings import every_threshold, read_settings, thresholds_text

    if target.exists():
        raise BadRequest(f"{target}: is there already; name another file")
    chosen = _of_stage(every_threshold(read_settings(None)), stage)
    try:
        write_text(target, thresholds_text(chosen))
    except OSError as problem:
        raise BadRequest(f"{target} cannot be written: {problem.strerror}; name another place") from None
    typer.echo(f"Written: {target}. Change what is to be other, delete the rest, and give it with --settings.")


@app.command("default")
def default(
    words: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Argument(metavar="KEY=VALUE", help="Such as layout=grand-dense; an empty value takes it away."),
    ] = None,
    register: o.REGISTER = None,
) -> None:
    """Show or set what the shop does every time, so that it need not be typed.

    layout and order serve check, scan import and scan record; sensor (with sensor_note, sensor_mass_g, sensor_place), supports and
    hammer serve the last two; dates (year-month-day, day.month.year, month/day/year) wherever a day is typed; shop every page; again_months says after
    how many months a plate is scanned again.
    An option that is typed comes first; `--layout none` and `--order none` leave the default out.
    """
    from tapscan.workflow.defaults import KEYS, change_defaults, defaults_file, read_defaults

    folder = o.folder_of(register)
    kept = change_defaults(folder, words) if words else read_defaults(folder)
    for key in KEYS:
        typer.echo(f"{key + ':':15} {getattr(kept, key) or 'not set'}")
    typer.echo(f"Kept in {defaults_file(folder)}")
