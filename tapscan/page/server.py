"""What listens, and which address leads to which screen.

make_app(place, key, port, jobs)  the pages of this computer
serve(place, port, opened)        runs until it is stopped; `opened` gets the address with the key
"""

import socket
import threading
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from pathlib import Path

import uvicorn
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from tapscan.errors import BadRequest, TapscanError, UnknownName
from tapscan.page.guard import Door, Guard
from tapscan.page.invitations import Invitations
from tapscan.page.phone_app import make_phone_app, own_address
from tapscan.page.recordings import Recordings
from tapscan.page.screens import ROUTES, SIZES
from tapscan.page.shown import trouble
from tapscan.page.works import Works, own_error
from tapscan.workflow.page_key import page_key
from tapscan.workflow.reading import report_style
from tapscan.workflow.register import Place
from tapscan.workflow.where import folder_of

STATIC = Path(__file__).with_name("static")
HERE = "127.0.0.1"
MOST_CONNECTIONS = 600  # idle and half-made ones count too
KEEP_S = 5  # an idle connection


def make_app(place: Place, key: str, port: int, jobs: int | None = None) -> Starlette:
    """`place` : the register's; it need not be there yet. `jobs` : processes that work at once; None: one a core."""
    door = Door(frozenset(f"{name}:{port}" for name in (HERE, "localhost", "[::1]")), key, SIZES)

    @asynccontextmanager
    async def running(app: Starlette) -> AsyncIterator[None]:
        yield
        app.state.recordings.close()
        app.state.works.close()

    app = Starlette(
        routes=[*ROUTES, Route("/style/report.css", _style), Mount("/static", StaticFiles(directory=STATIC))],
        middleware=[Middleware(Guard, door)],
        exception_handlers={TapscanError: _told, 404: _not_here, Exception: _own},
        lifespan=running,
    )
    app.state.place, app.state.folder = place, folder_of(place)
    app.state.door, app.state.works, app.state.counts = door, Works(), {}
    app.state.invitations, app.state.lan = Invitations(), None
    app.state.recordings, app.state.jobs = Recordings(jobs), jobs
    return app


def _told(request: Request, problem: Exception) -> Response:
    """What tapscan says of a request that cannot be done, on a page from which one can go back."""
    status = 404 if isinstance(problem, UnknownName) else 400 if isinstance(problem, BadRequest) else 409
    return trouble(request, status, str(problem))


def _not_here(request: Request, problem: Exception) -> Response:
    return trouble(request, 404, "There is no such page here.")


def _own(request: Request, problem: Exception) -> Response:
    return trouble(request, 500, own_error(problem))


def _style(request: Request) -> Response:
    """Of the report's sections."""
    return Response(report_style(), media_type="text/css", headers={"cache-control": "max-age=60"})


def listening(port: int, host: str = HERE) -> socket.socket:
    """By default a socket of this computer only; 0: any free port. Raises BadRequest where the port is taken."""
    made = socket.socket(
        socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP
    )  # named, or asyncio lets small answers wait 40 ms
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((host, port))
        made.listen(MOST_CONNECTIONS)  # the browser that is opened now waits, instead of being refused
    except OSError as problem:
        made.close()
        raise BadRequest(f"--port {port}: {problem.strerror}; take another one, or 0 for any that is free") from None
    return made


def serve(
    place: Place, port: int, opened: Callable[[str], None], *, lan: bool = False, jobs: int | None = None
) -> None:
    """Returns when it is stopped (Ctrl-C). `lan` : phones in the same network may be let in, each by a code."""
    made = listening(port)
    port = made.getsockname()[1]
    key = page_key()
    app = make_app(place, key, port, jobs)
    if lan:
        serve_phones(app)
    opened(f"http://{HERE}:{port}/?key={key}")
    with suppress(KeyboardInterrupt):  # which comes again once all has ended
        uvicorn.Server(configured(app)).run(sockets=[made])


def serve_phones(app: Starlette, host: str | None = None) -> uvicorn.Server:
    """In a thread that ends with the program. Raises BadRequest where this computer is in no network."""
    host = host or own_address()
    if host is None:
        raise BadRequest("--lan: this computer is in no network; join the phone's network first, or leave --lan out")
    made = listening(0, host)
    port = made.getsockname()[1]
    app.state.lan = f"{host}:{port}"
    server = uvicorn.Server(configured(make_phone_app(host, port, app)))
    threading.Thread(target=server.run, kwargs={"sockets": [made]}, daemon=True).start()
    return server


def configured(app: Starlette) -> uvicorn.Config:
    """Quiet, and with an end to patience."""
    return uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_keep_alive=KEEP_S,
        limit_concurrency=MOST_CONNECTIONS,
        timeout_graceful_shutdown=3,
    )
