"""What takes a while: its progress, and on to the result."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.page.events import stream
from tapscan.page.forms import asked
from tapscan.page.shown import go, show, trouble


def work(request: Request) -> Response:
    """Without JavaScript the page loads itself anew every few seconds."""
    found = request.app.state.works.find(asked(request, "id"))
    if found.leads_to:
        return go(found.leads_to)
    if found.problem:
        return trouble(request, 409, found.problem, found.back)
    return show(request, "work.html", work=found)


def events(request: Request) -> Response:
    """Stage, done and total; at last where it leads."""
    return stream(request.app.state.works.find(asked(request, "id")).channel, request)


ROUTES = [Route("/progress", work), Route("/progress/events", events)]
