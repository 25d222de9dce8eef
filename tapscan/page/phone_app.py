"""What a phone in the same network may reach: the page of its invitation, and nothing else of the register.

make_phone_app(host, port, main)   Starlette; `main` is the computer's own app
own_address()                      this computer's address in its network, or None
"""

import socket
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import Scope

from tapscan.errors import BadRequest, TapscanError, UnknownName
from tapscan.page.forms import file_name, receive
from tapscan.page.guard import COOKIE, FORM_BYTES, Door, Guard, cookie_in
from tapscan.page.invitations import MOST_FILES, Invitation, Invitations
from tapscan.page.opened import register_in
from tapscan.page.screens import SIZES
from tapscan.page.shown import show
from tapscan.workflow.draft import find_draft, incoming
from tapscan.workflow.photos import keep_photo
from tapscan.workflow.reading import report_style

STATIC = Path(__file__).with_name("static")
NOWHERE = "192.0.2.1"  # RFC 5737: nobody's; no packet is sent
SERVED = ("page.css", "phone_own.js", "sending.js", "icon.svg")


def own_address() -> str | None:
    """By the road that the system would take outwards."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((NOWHERE, 9))
        except OSError:
            return None
        return str(probe.getsockname()[0])


class PhoneGuard(Guard):
    """In the place of the key stands the invitation in the address."""

    def __init__(self, app: object, door: Door, invitations: Invitations) -> None:
        super().__init__(app, door)  # type: ignore[arg-type]
        self.invitations = invitations

    def _invitation(self, scope: Scope) -> Invitation | None:
        parts = scope["path"].split("/")
        try:
            return self.invitations.find(parts[2]) if parts[1] == "p" and len(parts) > 2 else None
        except UnknownName:
            return None

    def stranger(self, scope: Scope, headers: Headers) -> Response | None:
        """Style and script are no secret; all else needs an invitation that is open, and the phone that came first."""
        if scope["path"].startswith(("/static/", "/style/")):
            return None
        found = self._invitation(scope)
        if found is None:
            return PlainTextResponse("This invitation is over. Ask for a new code on the computer.", 404)
        if not found.admit(cookie_in(headers)):
            return PlainTextResponse("Another phone has used this code. Ask for a new one on the computer.", 403)
        return None

    def token(self, scope: Scope) -> str:
        """Of the invitation."""
        found = self._invitation(scope)
        return found.change if found else self.door.token

    def most(self, scope: Scope) -> int:
        """As on the computer's own page."""
        found = self._invitation(scope)
        if scope["method"] != "PUT" or found is None:
            return FORM_BYTES
        return SIZES["/draft/file" if found.draft else "/plate/photo"]


def make_phone_app(host: str, port: int, main: Starlette) -> Starlette:
    """`host`, `port` : where it listens."""
    door = Door(frozenset({f"{host}:{port}"}), main.state.door.key)
    app = Starlette(
        routes=[
            Route("/p/{token}", _page, methods=["GET"]),
            Route("/p/{token}/file", _file, methods=["PUT"]),
            Route("/p/{token}/done", _done, methods=["POST"]),
            Route("/style/report.css", _style),
            Route("/static/{name}", _static),
        ],
        middleware=[Middleware(PhoneGuard, door=door, invitations=main.state.invitations)],
        exception_handlers={TapscanError: _told, Exception: _told},
    )
    app.state.main, app.state.door = main, door
    return app


def _invitation(request: Request) -> Invitation:
    found: Invitation = request.app.state.main.state.invitations.find(request.path_params["token"])
    return found


def _page(request: Request) -> Response:
    found = _invitation(request)
    answer = show(request, "phone_own.html", i=found, token=found.change)
    answer.set_cookie(COOKIE, found.phone, httponly=True, samesite="strict", path=f"/p/{found.token}")
    return answer


async def _file(request: Request) -> Response:
    """A recording goes into the scan in the making, a photo to the plate."""
    found, name = _invitation(request), file_name(request)
    if found.taken >= MOST_FILES:
        raise BadRequest(f"{MOST_FILES} files are the most for one invitation")
    register = await run_in_threadpool(register_in, request.app.state.main)
    if found.draft:
        with incoming(find_draft(register, found.draft), name) as file:
            await receive(request, file)
    else:
        with keep_photo(register, found.plate, name) as taken:
            await receive(request, taken.file)
            await run_in_threadpool(taken.keep)
    found.took(name)
    return JSONResponse({"taken": found.taken})


def _done(request: Request) -> Response:
    found = _invitation(request)
    found.end()
    return show(request, "phone_done.html", i=found, token="")


def _style(request: Request) -> Response:
    return Response(report_style(), media_type="text/css")


def _static(request: Request) -> Response:
    name = request.path_params["name"]
    return FileResponse(STATIC / name) if name in SERVED else PlainTextResponse("There is no such file.", 404)


def _told(request: Request, problem: Exception) -> Response:
    """One line; a phone needs no more."""
    told = str(problem) if isinstance(problem, TapscanError) else "The program on the computer met an error of its own."
    return PlainTextResponse(
        told, 404 if isinstance(problem, UnknownName) else 400 if isinstance(problem, BadRequest) else 500
    )
