"""`tapscan pattern`: plates of one pattern as references, the shop's own and other shops'."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from tapscan.cli import options as o

if TYPE_CHECKING:
    from tapscan.workflow.pattern import Lot

app = typer.Typer(help="Plates of one pattern as references: yours, and sets of other shops.", no_args_is_help=True)
NAME = Annotated[str, typer.Argument(metavar="NAME", help="The pattern's name.")]


@app.command("list")
def list_patterns(register: o.REGISTER = None) -> None:
    """Show the patterns, how many plates tell of each, and names that seem to be one pattern or two."""
    from tapscan.cli.bullets import bullet, console
    from tapscan.cli.tables import print_table
    from tapscan.workflow.pattern import patterns_of, suggestions_of

    opened = o.opened(register)
    found = patterns_of(opened)
    if not found:
        typer.echo("No plate has a pattern yet: tapscan plate edit PLATE --pattern NAME")
        return
    rows = [(p.name, str(len(p.plates)), ", ".join(f"{s.name} ({s.plates})" for s in p.sets) or "none") for p in found]
    print_table(("pattern", "plates here", "sets (plates)"), rows)
    for line in suggestions_of(opened):
        console().print(bullet(line))


@app.command("show")
def show(name: NAME, settings: o.SETTINGS = None, register: o.REGISTER = None) -> None:
    """Show the references of a pattern, each against the others."""
    from tapscan.workflow.pattern import find_pattern, standing_of
    from tapscan.workflow.settings import read_settings

    opened = o.opened(register)
    entry = find_pattern(opened, name)
    typer.echo(f"Pattern {entry.name}: {len(entry.plates)} plates here, {len(entry.sets)} sets of other shops.")
    for lot in standing_of(opened, entry.name, read_settings(settings)):
        _print_lot(lot)


def _print_lot(lot: "Lot") -> None:
    from tapscan.cli.bullets import bullet, console
    from tapscan.cli.tables import print_table
    from tapscan.workflow.pattern import left_out_words, standing_rows

    typer.echo(f"\n{lot.what}:")
    if rows := standing_rows(lot):
        print_table(("reference", "how differently from the others it moves (usual: 1)", ""), rows)
    for line in left_out_words(lot):
        console().print(bullet(line))


@app.command("export")
def export(
    name: NAME,
    file: Annotated[Path, typer.Argument(metavar="FILE.json", help="Where to write the set.")],
    called: Annotated[Optional[str], typer.Option("--name", help="What the set is called; else the pattern.")] = None,  # noqa: UP045
    owner: Annotated[Optional[str], typer.Option(help="Your name, if others are to know it.")] = None,  # noqa: UP045
    register: o.REGISTER = None,
) -> None:
    """Write your plates of a pattern for other shops: modes and outcomes; no sound, no names of plates."""
    from tapscan.workflow.pattern import export_set

    found = export_set(o.opened(register), name, file, called, owner)
    typer.echo(f"{file}: {len(found.references)} plates of pattern {found.pattern}, hash {found.sha256[:16]}.")


@app.command("import")
def import_references(
    file: Annotated[Path, typer.Argument(metavar="FILE.json", help="A set of another shop.")],
    register: o.REGISTER = None,
) -> None:
    """Take in a reference set. A damaged one, or one that is no set, is refused with one line."""
    from tapscan.workflow.pattern import import_set

    entry = import_set(o.opened(register), file)
    typer.echo(f"{entry.name}: {entry.plates} plates of pattern {entry.pattern}, hash {entry.sha256[:16]}.")
