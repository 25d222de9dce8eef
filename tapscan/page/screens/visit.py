"""A visit to a piano: the round of the eye with its photos, and the document of it."""

import datetime as dt
from functools import partial
from typing import Any

from msgspec.structs import replace
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from tapscan.errors import BadRequest
from tapscan.page.forms import Form, asked, file_name, receive
from tapscan.page.opened import register_of
from tapscan.page.screens.documents import begin_document
from tapscan.page.shown import go, show, to
from tapscan.places import SIGNS, STATES
from tapscan.workflow.photos import MOST_BYTES, keep_photo
from tapscan.workflow.plate import Plate, find_plate
from tapscan.workflow.reading import shop_of
from tapscan.workflow.round_words import ANSWERS, KEY_ANSWERS
from tapscan.workflow.scan import Outcome
from tapscan.workflow.seen import mark_of, not_changed
from tapscan.workflow.typed import day, words
from tapscan.workflow.visit import (
    FACTS,
    KEYS,
    LOOK_ANSWERS,
    REGIONS,
    Visit,
    add_look_photo,
    find_visit,
    keep_visit,
    known_of,
    note_outcome,
    remove_look_photo,
    sound_look,
    typed_visit,
    visit_on,
)
from tapscan.workflow.visit import Look as LookAt
from tapscan.workflow.visit_unknown import unknown_of
from tapscan.workflow.write_report import Wish, page_name
from tapscan.workflow.write_visit import caution_lines, write_visit


def visit(request: Request) -> Response:
    """The round; where the visit is noted, also what it comes to."""
    register = register_of(request)
    plate = find_plate(register, asked(request, "plate"), exact=True)
    return _shown(request, plate, day(asked(request, "on"), "Day", register.folder))


def _shown(request: Request, plate: Plate, on: dt.date, typed: Form | None = None, problem: str = "") -> Response:
    """`typed` : what was sent and not kept, for the reason `problem`."""
    register = register_of(request)
    known = visit_on(register, plate.name, on)
    now = known or Visit(plate.name, on)
    all_known = known_of(register, now)
    placed = {f.sha256 for look in now.looks for f in look.photos}
    return show(
        request,
        "visit.html",
        400 if problem else 200,
        problem=problem,
        v=_as_sent(now, typed) if typed else now,
        mistake=typed.text("mistake") if typed else "",
        suspected=bool(now.suspects or now.explained),
        plate=plate,
        noted=known is not None,
        mark=typed.text("seen") if typed else mark_of(*_told(now)),
        k=all_known,
        cautions=caution_lines(all_known),
        unknown=unknown_of(all_known),
        rows=[
            (look, REGIONS[look.region], _answers(look), _signs(look.region))
            for look in (_as_sent(now, typed) if typed else now).round
        ],
        regions=REGIONS.items(),
        KEYS=KEYS,
        noted_looks=[(look, REGIONS[look.region]) for look in now.round if look.answer == "note"],
        today=dt.date.today(),
        loose=[f for f in plate.photos if f.sha256 not in placed],
    )


def _as_sent(now: Visit, form: Form) -> Visit:
    """What was filled in, sound or not, with the photos that lie there."""
    facts: dict[str, Any] = {name: words(form.text(name)) for name in FACTS if name != "state"}
    told = form.text("state")
    looks = tuple(_look_as_sent(look, form) for look in now.round)
    return replace(now, **facts, state=next((s for s in STATES if s == told), None), looks=looks)


def _look_as_sent(look: LookAt, form: Form) -> LookAt:
    answer = next((a for a in LOOK_ANSWERS if a == form.text(f"look-{look.region}")), None)
    signs = tuple(s for s in form.every(f"sign-{look.region}") if s in SIGNS)
    return replace(look, answer=answer, signs=signs, note=words(form.text(f"note-{look.region}")))


def _told(v: Visit) -> tuple[object, ...]:
    """What the form shows; photos come by themselves."""
    looks = [(look.region, look.answer, look.signs, look.note) for look in v.looks if look.answer]
    return v.plate, *(getattr(v, name) for name in FACTS), looks


def _answers(look: LookAt) -> list[tuple[str, str]]:
    words = KEY_ANSWERS if look.region == KEYS else ANSWERS
    return [(answer or "", said) for answer, said in words.items()]


def _signs(region: str) -> list[tuple[str, str]]:
    """What can be heard is asked of the keys, what can be seen of the iron."""
    heard = ("pitch-not-held", "buzz", "other")
    return [(s, said) for s, said in SIGNS.items() if (s in heard) == (region == KEYS) or s == "other"]


def keep(request: Request) -> Response:
    """All answers at once; photos are sent by themselves."""
    form, register = Form(request), register_of(request)
    on = day(form.text("on"), "Day", register.folder)
    plate = find_plate(register, form.text("plate"), exact=True)
    signs = {region: form.every(f"sign-{region}") for region in REGIONS}
    try:
        told = typed_visit(plate.name, on, form.typed(), signs)
        same = partial(not_changed, form.text("seen"))
        kept = keep_visit(register, told, lambda now: same(*_told(now)), words(form.text("mistake")))
    except BadRequest as problem:
        return _shown(request, plate, on, form, str(problem))
    return go(to("/visit", plate=kept.plate, on=kept.date, said="The visit is noted.") + "#comes-to")


async def photo(request: Request) -> Response:
    """The photo is the body; it goes to the plate and to the region."""
    register, region = register_of(request), asked(request, "region")
    plate, on = asked(request, "plate"), await run_in_threadpool(day, asked(request, "on"), "Day", register.folder)
    sound_look(LookAt(region))
    with keep_photo(register, plate, file_name(request)) as taken:
        await receive(request, taken.file)
        found = await run_in_threadpool(taken.keep)
    assert taken.kept is not None
    await run_in_threadpool(add_look_photo, register, found.name, on, region, taken.kept)
    return JSONResponse({"kept": taken.name})


def place_photo(request: Request) -> Response:
    """One of the plate's photos, a phone's perhaps, to a region."""
    form, register = Form(request), register_of(request)
    plate = find_plate(register, form.text("plate"), exact=True)
    file = next((f for f in plate.photos if f.sha256 == form.text("sha")), None)
    if file is None:
        raise BadRequest("there is no such photo of this plate")
    on: dt.date = day(form.text("on"), "Day", register.folder)
    add_look_photo(register, plate.name, on, form.text("region"), file)
    return go(to("/visit", plate=plate.name, on=on, said="The photo is put there."))


def take_photo_away(request: Request) -> Response:
    """It stays with the plate."""
    form, register = Form(request), register_of(request)
    found = find_visit(register, f"{form.text('plate')}/{form.text('on')}")
    remove_look_photo(register, found, form.text("region"), form.text("sha"))
    return go(to("/visit", plate=found.plate, on=found.date, said="Taken away there; the plate keeps the photo."))


def outcome(request: Request) -> Response:
    """What an examination found of what was seen; a named person says so, and nothing is taken away."""
    form, register = Form(request), register_of(request)
    found = find_visit(register, f"{form.text('plate')}/{form.text('on')}")
    examined = day(form.text("day"), "Day", register.folder)
    told = Outcome(form.text("found"), form.text("method"), form.text("by"), examined, words(form.text("note")))
    kept, means = note_outcome(register, found, form.text("region"), form.text("kind"), told)
    return go(to("/visit", plate=kept.plate, on=kept.date, said=f"Noted. {means}"))


def make_document(request: Request) -> Response:
    """HTML or PDF."""
    form, register = Form(request), register_of(request)
    found = find_visit(register, f"{form.text('plate')}/{form.text('on')}")
    wish = Wish(shop_of(register), pdf=form.text("kind") == "pdf", whom=form.text("whom"))
    return begin_document(
        request,
        f"The document of the visit {found.name}",
        page_name(f"{found.name}-visit", wish),
        to("/visit", plate=found.plate, on=found.date),
        f"visit {found.name} {wish.pdf} {wish.whom}",
        lambda path: write_visit(register, found.name, path, wish),
    )


ROUTES = [
    Route("/visit", visit, methods=["GET"]),
    Route("/visit", keep, methods=["POST"]),
    Route("/visit/photo", photo, methods=["PUT"]),
    Route("/visit/photo", place_photo, methods=["POST"]),
    Route("/visit/photo/away", take_photo_away, methods=["POST"]),
    Route("/visit/outcome", outcome, methods=["POST"]),
    Route("/visit/document", make_document, methods=["POST"]),
]
SIZES = {"/visit/photo": MOST_BYTES}
