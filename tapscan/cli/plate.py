"""`tapscan plate`: the plates the shop knows."""

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

from tapscan.cli import options as o
from tapscan.clock import with_zone
from tapscan.errors import WrongUsage
from tapscan.wording import argument

if TYPE_CHECKING:
    from tapscan.workflow.plate import Plate

app = typer.Typer(help="Plates: the castings the register knows.", no_args_is_help=True)
PATTERN = Annotated[o.TEXT, typer.Option(help="Pattern or model of the casting.")]
SERIAL = Annotated[o.TEXT, typer.Option(help="Serial or casting number.")]
KIND = Annotated[o.TEXT, typer.Option(help="Grand, upright, three-quarter, ...")]
MASS = Annotated[o.TEXT, typer.Option("--mass-kg", metavar="KILOGRAMS", help="What the plate weighs.")]
PHOTO = Annotated[
    Optional[list[Path]],  # noqa: UP045
    typer.Option(exists=True, dir_okay=False, help="A photo to keep; once for each."),
]
MOST_SCANS = 12


@app.command("add")
def add(
    name: o.PLATE,
    pattern: PATTERN = None,
    serial: SERIAL = None,
    kind: KIND = None,
    mass: MASS = None,
    notes: o.NOTES = None,
    photo: PHOTO = None,
    new: Annotated[
        bool, typer.Option("--new", help="Begin a new, empty register though another one was used before.")
    ] = False,
    register: o.REGISTER = None,
) -> None:
    """Add a plate. The first plate makes the register."""
    from tapscan.workflow.import_scan import add_photos
    from tapscan.workflow.last_register import may_begin, remember
    from tapscan.workflow.photos import looked_at
    from tapscan.workflow.plate import Plate, add_plate
    from tapscan.workflow.register import make_register, name_for_new

    looked_at(photo)
    plate = Plate(name_for_new(name), o.words(pattern), o.words(serial), o.words(kind), _mass(mass), o.words(notes))
    if not new:
        may_begin(o.place_of(register), named=register is not None)
    opened = make_register(o.place_of(register))
    o.tell_trouble(remember(opened.place))
    plate = add_plate(opened, plate)
    if photo:
        add_photos(opened, plate.name, photo)
    typer.echo(f"Added plate {plate.name} to the register {opened.told}.")


@app.command("list")
def list_all(
    retired: Annotated[bool, typer.Option("--retired", help="Show retired plates too.")] = False,
    register: o.REGISTER = None,
) -> None:
    """List the plates."""
    from tapscan.cli.tables import print_table, shown
    from tapscan.workflow.at_a_glance import next_of
    from tapscan.workflow.plate import list_plates

    opened = o.opened(register)
    rows = list_plates(opened, retired=retired)
    if not rows:
        typer.echo("No plates" + (" in use; --retired shows all." if not retired else "."))
        return
    told = [
        (p.name, p.pattern or "", p.kind or "", str(scans), str(last or ""), "retired" if p.retired_on else "")
        for p, scans, last in rows
    ]
    print_table(("plate", "pattern", "kind", "scans", "last scan", ""), told)
    first = next_of(opened)
    for p, *_ in rows:
        if p.name in first:
            typer.echo(f"Next for {shown(p.name)}: {first[p.name]}")


@app.command("show")
def show(name: o.PLATE, register: o.REGISTER = None) -> None:
    """Show one plate with its scans."""
    from tapscan.cli.still_open import say_next
    from tapscan.cli.tables import print_scans
    from tapscan.workflow.as_listed import lines_of
    from tapscan.workflow.plate import find_plate
    from tapscan.workflow.scan import list_scans

    opened = o.opened(register)
    plate = find_plate(opened, name)
    typer.echo(f"Plate {plate.name}")
    for label, value in _facts(plate):
        typer.echo(f"  {label + ':':16} {value}")
    scans = list_scans(opened, plate.name, void=True)
    if not scans:
        say_next(opened, plate.name, "No scans yet: tapscan scan import")
        return
    if len(scans) > MOST_SCANS:
        typer.echo(f"The last {MOST_SCANS} of {len(scans)} scans (tapscan scan list shows all):")
    print_scans(lines_of(opened, scans[-MOST_SCANS:]))
    marked = sum(s.baseline and not s.crossed_out for s in scans)
    say_next(opened, plate.name, _advice(opened, plate.name, marked))


def _facts(plate: "Plate") -> list[tuple[str, str]]:
    facts = [
        ("pattern", plate.pattern),
        ("serial number", plate.serial),
        ("kind", plate.kind),
        ("mass", f"{plate.mass_kg:g} kg" if plate.mass_kg else None),
        ("notes", plate.notes),
        ("added", with_zone(plate.added_utc) if plate.added_utc else None),
    ]
    told = [(label, value or "unknown") for label, value in facts if value or label != "notes"]
    told += [("photo", f"{p.name} (files/{p.sha256[:2]}/{p.sha256})") for p in plate.photos]
    if plate.retired_on:
        told.append(("retired", f"{plate.retired_on}{': ' + plate.retired_why if plate.retired_why else ''}"))
    return told


def _advice(register: Any, name: str, marked: int) -> str:
    if marked == 0:
        return f"No baseline yet: `tapscan plate baseline {argument(name)} SCAN` marks the scans that later ones are compared with."
    from tapscan.workflow.baseline import advice
    from tapscan.workflow.still_open import plate_on_record, record_opened, state_now, unexamined

    record = plate_on_record(register, name)
    return advice(marked, still_open=unexamined(record_opened(record)), state=state_now(record))


@app.command("edit")
def edit(
    name: o.PLATE,
    new_name: Annotated[o.TEXT, typer.Option("--name", help="A new name; its scans are renamed with it.")] = None,
    pattern: PATTERN = None,
    serial: SERIAL = None,
    kind: KIND = None,
    mass: MASS = None,
    notes: o.NOTES = None,
    photo: PHOTO = None,
    register: o.REGISTER = None,
) -> None:
    """Change what is known of a plate. `unknown` clears a value."""
    from tapscan.workflow.import_scan import add_photos
    from tapscan.workflow.photos import looked_at
    from tapscan.workflow.plate import edit_plate
    from tapscan.workflow.register import name_for_new

    opened = o.opened(register)
    given = {"pattern": pattern, "serial": serial, "kind": kind, "notes": notes}
    changes: dict[str, Any] = {key: o.words(value) for key, value in given.items() if value is not None}
    if mass is not None:
        changes["mass_kg"] = _mass(mass)
    if new_name is not None:
        changes["name"] = name_for_new(new_name)
    if not changes and not photo:
        raise WrongUsage("nothing to change was named; `tapscan plate edit --help` lists what can be")
    looked_at(photo)
    plate = edit_plate(opened, name, **changes) if changes else None
    if photo:
        plate = add_photos(opened, plate.name if plate else name, photo)
    typer.echo(f"Changed plate {plate.name if plate else name}.")


@app.command("baseline")
def baseline(
    name: o.PLATE,
    scans: Annotated[Optional[list[str]], typer.Argument(help="Scans that are the baseline: names or dates.")] = None,  # noqa: UP045
    none: Annotated[bool, typer.Option("--none", help="No scan is the baseline any more.")] = False,
    although: o.ALTHOUGH = None,
    register: o.REGISTER = None,
) -> None:
    """Say which scans later ones are compared with; without scans, show them.

    Three are best, on two days: scan, lift the plate, set it down, scan again. In its piano a plate is never lifted.
    """
    from tapscan.cli.tables import print_scans
    from tapscan.workflow.as_listed import lines_of
    from tapscan.workflow.baseline import choose_baseline
    from tapscan.workflow.history import baseline_of
    from tapscan.workflow.plate import find_plate

    opened = o.opened(register)
    if scans or none:
        if scans and none:
            raise WrongUsage("--none and named scans contradict each other; leave one of them out")
        named = [s if "/" in s else f"{name}/{s}" for s in scans or ()]
        choose_baseline(opened, name, named, o.words(although))
    plate = find_plate(opened, name).name
    marked = baseline_of(opened, plate)
    if marked:
        print_scans(lines_of(opened, marked))
    typer.echo(_advice(opened, plate, len(marked)))


@app.command("retire")
def retire(
    name: o.PLATE,
    why: Annotated[o.TEXT, typer.Option(help="Sold, scrapped, back in its piano, ...")] = None,
    on: Annotated[o.TEXT, typer.Option(metavar="DATE", help="Day; else today.")] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take it back into the list.")] = False,
    register: o.REGISTER = None,
) -> None:
    """Take a plate out of the list. Its scans and recordings stay in the register."""
    from tapscan.cli.tables import shown
    from tapscan.workflow.plate import edit_plate, retire_plate
    from tapscan.workflow.still_open import left_open

    opened = o.opened(register)
    if undo:
        plate = edit_plate(opened, name, retired_on=None, retired_why=None)
        typer.echo(f"Plate {plate.name} is in the list again.")
        return
    when: dt.date = o.day(on, "--on", register)
    plate = retire_plate(opened, name, when, o.words(why))
    typer.echo(f"Retired plate {plate.name}; its scans are kept.")
    if told := left_open(opened, plate.name):
        typer.echo(shown(told))


def _mass(text: str | None) -> float | None:
    return o.number(text, "--mass-kg", 1.0, 1000.0, "kilograms", "given in grams or pounds? ")
