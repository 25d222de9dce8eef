"""`tapscan visit`: what was seen at a piano, and the document to send."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer
from msgspec.structs import replace

from tapscan.cli import options as o
from tapscan.cli.kept import Kept
from tapscan.cli.states import read_state
from tapscan.cli.writing import told_where
from tapscan.errors import WrongUsage
from tapscan.places import EYE_REGIONS, REGIONS, SIGNS
from tapscan.unseen import as_text
from tapscan.wording import argument

if TYPE_CHECKING:
    from tapscan.workflow.visit import Known, Look, Visit

app = typer.Typer(
    help="A visit to a piano: what the eye saw, region by region, and the document for the buyer.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
MANY = Optional[list[str]]  # noqa: UP045
ON = Annotated[o.TEXT, typer.Option("--on", metavar="DAY", help="Day of the visit; else today.")]
MAKER = Annotated[o.TEXT, typer.Option(help="Maker of the piano, as it is written on it.")]
NUMBER = Annotated[o.TEXT, typer.Option(metavar="TEXT", help="Number of the piano.")]
PLACE = Annotated[o.TEXT, typer.Option(help="Where it stands.")]
BY = Annotated[o.TEXT, typer.Option("--by", help="Who looked.")]
PRESENT = Annotated[o.TEXT, typer.Option(help="Who else was there.")]
CLEAR = Annotated[
    MANY,
    typer.Option(
        "--clear",
        metavar="REGION",
        help=f"Seen, nothing noticed; `all` for every region of the plate not named otherwise: {', '.join(EYE_REGIONS)}. Once played: keys.",
    ),
]
FOUND = Annotated[
    MANY,
    typer.Option(
        "--found", metavar="REGION:SIGN[,SIGN][:NOTE]", help=f"Seen, see note: {', '.join(SIGNS)}. Without a sign it is taken for what may be a crack."
    ),
]  # fmt: skip
HIDDEN = Annotated[MANY, typer.Option("--hidden", metavar="REGION[:WHY]", help="Could not be seen.")]
PHOTO = Annotated[MANY, typer.Option("--photo", metavar="REGION:FILE", help="A photo of that region.")]
VISIT = Annotated[str, typer.Argument(metavar="VISIT", help="PLATE/DATE, or a plate's name for its newest visit.")]


@app.command("note")
def note(
    plate: o.PLATE,
    on: ON = None,
    maker: MAKER = None,
    number: NUMBER = None,
    place: PLACE = None,
    by: BY = None,
    present: PRESENT = None,
    state: o.STATE = None,
    notes: o.NOTES = None,
    clear: CLEAR = None,
    found: FOUND = None,
    hidden: HIDDEN = None,
    photo: PHOTO = None,
    mistake: o.MISTAKE = None,
    register: o.REGISTER = None,
) -> None:
    """Note what was seen on a visit; what is not named stays as it was. Typed again, a region is replaced; but what may be a crack stays."""
    from tapscan.workflow.plate import find_plate
    from tapscan.workflow.visit import Visit, edit_visit, keep_photos_of, known_of

    opened, date = o.opened(register), o.day(on, "--on", register)
    name = find_plate(opened, plate, exact=True).name
    pairs = [_region(text, "--photo") for text in photo or ()]
    names = ("maker", "piano_number", "place", "by_whom", "present", "notes")
    facts = dict(zip(names, (maker, number, place, by, present, notes), strict=True))
    told: dict[str, Any] = {key: o.words(value) for key, value in facts.items() if value is not None}
    if state is not None:
        told["state"] = read_state(o.words(state))

    def change(before: Visit) -> Visit:
        return replace(before, **told, looks=_looks(before, clear, found, hidden))

    change(Visit(name, date))  # what cannot be meant is refused before a photo is kept
    for region, file in pairs:
        keep_photos_of(opened, name, date, region, [Path(file or "")])
    kept = edit_visit(opened, name, date, change, o.words(mistake))
    _say_noted(kept, known_of(opened, kept))


def _say_noted(kept: "Visit", known: "Known") -> None:
    typer.echo(f"Noted: visit {kept.name}. The document: tapscan visit report {argument(kept.name)}")
    if known.stop or kept.suspects:
        typer.echo(f"{known.advice.headline}: stop here, do not tap, tune or turn a screw. `tapscan visit show` says who looks next.")  # fmt: skip


def _looks(
    before: "Visit", clear: Sequence[str] | None, found: Sequence[str] | None, hidden: Sequence[str] | None
) -> "tuple[Look, ...]":
    from tapscan.workflow.visit import Look, both_noted, sound_look

    looks = {look.region: look for look in before.looks}
    named = [_found(text) for text in found or ()]
    named += [Look(region, "hidden", note=why) for region, why in (_region(text, "--hidden") for text in hidden or ())]
    said = {look.region for look in named} | {
        look.region for look in before.looks if look.answer not in (None, "nothing")
    }
    every = [r for r in EYE_REGIONS if r not in said] if "all" in (clear or ()) else []
    named += [Look(region, "nothing") for region in (*every, *(c for c in clear or () if c != "all"))]
    told: dict[str, Look] = {}
    for look in named:
        known = told.get(sound_look(look).region)
        told[look.region] = both_noted(known, look) if known else look
    looks |= told
    return tuple(looks[region] for region in REGIONS if region in looks)


def _found(text: str) -> "Look":
    from tapscan.workflow.visit import Look

    region, rest = _region(text, "--found")
    head, _, tail = (rest or "").partition(":")
    signs = [s.strip().lower().replace(" ", "-") for s in head.split(",") if s.strip()]
    if signs and all(s in SIGNS for s in signs):
        return Look(region, "note", tuple(signs), tail.strip() or None)
    if tail or (len(signs) > 1 and any(s in SIGNS for s in signs)):
        raise WrongUsage(f"--found {text!r}: {head!r} is no sign; they are {', '.join(SIGNS)}")
    return Look(region, "note", (), rest)


def _region(text: str, option: str) -> tuple[str, str | None]:
    region, _, rest = (text if option == "--photo" else as_text(text)).partition(":")
    region = region.strip().lower().replace(" ", "-")
    if region not in REGIONS:
        raise WrongUsage(f"{option} {text!r}: {region!r} is no region of the round; they are {', '.join(REGIONS)}")
    return region, rest.strip() or None


@app.command("outcome")
def outcome(
    visit: VISIT,
    region: Annotated[str, typer.Option(metavar="REGION", help="Where it had been seen.")],
    found: Annotated[str, typer.Option(help="What was found, what was looked at, or what it was.")],
    method: Annotated[str, typer.Option(help="How: magnetic particles, penetrant, replica, finish taken off, ...")],
    by: Annotated[str, typer.Option(help="Who examined it.")],
    on: Annotated[o.TEXT, typer.Option("--on", metavar="DAY", help="Day of the examination; else today.")] = None,
    note: Annotated[o.TEXT, typer.Option(help="Anything else.")] = None,
    explained: Annotated[
        bool,
        typer.Option(
            "--explained", help="--found names what it was, such as 'a crack in the lacquer only'; this closes it."
        ),
    ] = False,
    clean: Annotated[
        bool,
        typer.Option(
            "--clean",
            help="Nothing was found; it stays open until somebody names what it was. Else it counts as a flaw.",
        ),
    ] = False,
    register: o.REGISTER = None,
) -> None:
    """Note what an examination found of what was seen on a visit. Nothing is ever taken away: later documents tell both."""
    from tapscan.workflow.scan import Outcome
    from tapscan.workflow.visit import find_visit, note_outcome

    if explained and clean:
        raise WrongUsage("--explained and --clean contradict each other; leave one of them out")
    opened, where = o.opened(register), _region(region, "--region")[0]
    told = Outcome(found, method, by, o.day(on, "--on", register), o.words(note))
    kind = "seen" if explained else "clean" if clean else "flaw"
    kept, means = note_outcome(opened, find_visit(opened, visit), where, kind, told)
    typer.echo(f"Noted for visit {kept.name}, {where}. {means}")


@app.command("list")
def list_visits(
    plate: Annotated[Optional[str], typer.Argument(help="The plate's name; else all.")] = None,  # noqa: UP045
    register: o.REGISTER = None,
) -> None:
    """List the visits."""
    from tapscan.workflow.visit import list_visits as every

    found = every(o.opened(register), plate)
    for v in found:
        where = ", ".join(x for x in (v.maker, v.piano_number, v.place) if x) or "not written down"
        flawed = any(look.flaws for look in v.looks)
        seen = "; what may be a crack was seen and is open" if v.suspects else ""
        seen = "; an examination found a flaw" if flawed else seen
        typer.echo(f"{v.name}  {where}; {sum(look.answer is not None for look in v.looks)} regions answered{seen}")
    if not found:
        typer.echo("No visit is noted yet: tapscan visit note PLATE")


@app.command("show")
def show(visit: VISIT, register: o.REGISTER = None) -> None:
    """Say what a visit comes to: what was found, what is not known, what to do next and what to ask."""
    from tapscan.workflow.visit import find_visit, known_of
    from tapscan.workflow.visit_unknown import unknown_of
    from tapscan.workflow.write_visit import caution_lines, found_of

    opened = o.opened(register)
    known = known_of(opened, find_visit(opened, visit))
    _list("First of all", caution_lines(known))
    typer.echo(f"\n{known.visit.name}: {known.advice.headline}\n{known.advice.lead}")
    rows = (
        ("What was found", [f"{f.title}. {f.text}" for f in found_of(known)] or [known.nothing]),
        ("What to do next", known.advice.steps),
        ("What could not be known", [u.text for u in unknown_of(known)]),
        ("What to ask the seller", [q.text for q in known.advice.questions]),
    )
    for title, lines in rows:
        typer.echo("")
        _list(title, lines)


def _list(title: str, lines: Sequence[str]) -> None:
    from tapscan.cli.bullets import bullet, console

    typer.echo(title)
    for line in lines:
        console().print(bullet(line))


@app.command("report")
def report(
    visit: VISIT,
    out: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option(metavar="FILE", help="Where the document goes; else PLATE_DATE-visit.html in this folder."),
    ] = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="PDF instead of HTML (needs the extra: tapscan[pdf]).")] = False,
    whom: Annotated[str, typer.Option("--for", metavar="NAME", help="Whom it is for; stands at its head.")] = "",
    shop: o.SHOP = None,
    register: o.REGISTER = None,
) -> None:
    """Write the document of a visit: one page, and an appendix with the photos. It needs no network."""
    from tapscan.workflow.report import read_shop
    from tapscan.workflow.write_report import Wish
    from tapscan.workflow.write_visit import write_visit

    shop = Kept(register).shop(shop)
    wish = Wish(read_shop(shop) if shop else None, pdf=pdf, whom=whom)
    with told_where(out, "the document"):
        written = write_visit(o.opened(register), visit, out, wish)
    typer.echo(f"The document of the visit: {written}")
