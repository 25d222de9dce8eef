"""The code that lets a phone send its recording or its photos, and what came."""

import segno
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.errors import BadRequest
from tapscan.page.events import stream
from tapscan.page.forms import Form, asked
from tapscan.page.opened import register_of
from tapscan.page.shown import show, to
from tapscan.workflow.draft import find_draft
from tapscan.workflow.plate import find_plate

NOT_OPEN = (
    "Phones are not let in: tapscan was started without --lan. End it, start it again with: tapscan open --lan. "
    "Do so only in a network that is yours; what phone and computer send is not encrypted."
)


def phone(request: Request) -> Response:
    """Asked first: nothing is open before somebody says so."""
    plate = find_plate(register_of(request), asked(request, "plate"), exact=True)
    lan = request.app.state.lan
    return show(
        request, "phone.html", plate=plate.name, draft=asked(request, "draft"), closed=None if lan else NOT_OPEN
    )


def invite(request: Request) -> Response:
    """A code for one phone, one thing."""
    form, state, register = Form(request), request.app.state, register_of(request)
    if not state.lan:
        raise BadRequest(NOT_OPEN)
    plate = find_plate(register, form.text("plate"), exact=True).name
    draft = find_draft(register, form.text("draft")).id if form.text("draft") else None
    made = state.invitations.make(plate, draft)
    address = f"http://{state.lan}/p/{made.token}"
    code = Markup(segno.make(address, micro=False).svg_inline(scale=8, dark="#1b2f5e", light="#ffffff", omitsize=True))
    back = to("/draft", id=draft) if draft else to("/plate", name=plate)
    return show(request, "phone_code.html", i=made, address=address, code=code, back=back)


def events(request: Request) -> Response:
    """What came."""
    return stream(request.app.state.invitations.find(asked(request, "token")).channel, request)


ROUTES = [
    Route("/phone", phone, methods=["GET"]),
    Route("/phone", invite, methods=["POST"]),
    Route("/phone/events", events),
]
