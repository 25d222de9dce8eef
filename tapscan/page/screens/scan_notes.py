"""What people add to a scan: how it was made, what the eye saw, what an examination found."""

from collections.abc import Mapping
from datetime import date

from msgspec.structs import replace
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.errors import BadRequest
from tapscan.page.forms import Form, asked
from tapscan.page.opened import register_of
from tapscan.page.shown import go, show, to
from tapscan.workflow.eye_list import as_sent, asked_of, checklist_of, places_of
from tapscan.workflow.import_scan import stored_screening
from tapscan.workflow.known_since import changed
from tapscan.workflow.outcome import KINDS, may_be_explained, note_outcome
from tapscan.workflow.plate import find_plate
from tapscan.workflow.scan import (
    Outcome,
    ScanEntry,
    edit_scan,
    find_scan,
    suspects,
)
from tapscan.workflow.seen import mark_of, not_changed
from tapscan.workflow.typed import day, words
from tapscan.workflow.typed_scan import as_typed, conditions_of


def facts(request: Request) -> Response:
    """As they are written down."""
    entry = find_scan(register_of(request), asked(request, "name"))
    return show(request, "scan_facts.html", e=entry, t=as_typed(entry), mark=mark_of(*_facts(entry)))


def _facts(e: ScanEntry) -> tuple[object, ...]:
    return e.conditions, e.operator, e.notes


def change_facts(request: Request) -> Response:
    """Recordings and results are not touched; a new state, or what listened, is read when the scan is read anew."""
    form, register = Form(request), register_of(request)
    typed = form.typed()

    def change(e: ScanEntry) -> ScanEntry:
        not_changed(form.text("seen"), *_facts(e))
        operator, notes = words(typed.get("operator")), words(typed.get("notes"))
        return replace(e, conditions=conditions_of(typed), operator=operator, notes=notes)

    before = find_scan(register, form.text("name"))
    entry = edit_scan(register, before.name, change)
    unread = changed(before.conditions, entry.conditions)
    said = f"Changed. {unread}: read the scan anew." if unread else "Changed."
    return go(to("/scan/mend" if unread else "/scan", name=entry.name, said=said))


def eye(request: Request) -> Response:
    """Every item that can be looked at in the plate's state."""
    return _eye(request, find_scan(register_of(request), asked(request, "name")))


def _eye(request: Request, entry: ScanEntry, typed: Mapping[str, str] | None = None, problem: str = "") -> Response:
    """`typed` : what was sent and not kept, for the reason `problem`."""
    register = register_of(request)
    places = places_of(stored_screening(register, entry))
    return show(
        request,
        "eye.html",
        400 if problem else 200,
        problem=problem,
        mistake=typed.get("mistake", "") if typed else "",
        e=entry,
        mark=typed.get("seen", "") if typed else mark_of(entry.checklist),
        plate=find_plate(register, entry.plate, exact=True),
        places=places,
        suspected=bool(suspects(entry.checklist)),
        items=as_sent(asked_of(entry, places), typed) if typed else asked_of(entry, places),
    )


def change_eye(request: Request) -> Response:
    """All answers at once."""
    form, register = Form(request), register_of(request)

    def change(e: ScanEntry) -> ScanEntry:
        not_changed(form.text("seen"), e.checklist)
        return replace(e, checklist=checklist_of(form.typed()))

    entry = find_scan(register, form.text("name"))
    try:
        entry = edit_scan(register, entry.name, change, words(form.text("mistake")))
    except BadRequest as problem:
        return _eye(request, entry, form.typed(), str(problem))
    return go(to("/scan", name=entry.name, said="What you saw is noted."))


def outcome(request: Request) -> Response:
    """An empty form, and what was noted before."""
    register = register_of(request)
    entry = find_scan(register, asked(request, "name"))
    return show(request, "outcome.html", e=entry, today=date.today(), seen=may_be_explained(register, entry))


def add(request: Request) -> Response:
    """A named person says so; a flaw that was found never vanishes."""
    form, register = Form(request), register_of(request)
    kind = form.text("kind")
    if kind not in KINDS:
        raise BadRequest(
            "say what came out: a flaw, nothing, a part that was the cause, or what it was that the eye saw"
        )
    found = form.text("found")
    if not found:
        raise BadRequest("say what was found, or what was looked at")
    on = day(form.text("on"), "Day", register.folder)
    told = Outcome(found, form.text("method"), form.text("by"), on, words(form.text("note")))
    noted = note_outcome(register, form.text("name"), kind, told, form.text("item"))
    said = f"What the examination found is noted. {noted.closed}".rstrip()
    return go(to("/scan", name=noted.entry.name, said=said))


ROUTES = [
    Route("/scan/facts", facts, methods=["GET"]),
    Route("/scan/facts", change_facts, methods=["POST"]),
    Route("/scan/eye", eye, methods=["GET"]),
    Route("/scan/eye", change_eye, methods=["POST"]),
    Route("/scan/outcome", outcome, methods=["GET"]),
    Route("/scan/outcome", add, methods=["POST"]),
]
