"""Layouts of places: which there are, their map, the sheet to chalk them from."""

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from tapscan.errors import BadRequest
from tapscan.page.forms import asked
from tapscan.page.screens.documents import OWN_POLICY
from tapscan.page.shown import show
from tapscan.workflow.layout import read_order
from tapscan.workflow.own_layouts import layout_names, named_layout, own_layouts
from tapscan.workflow.sheet import render_sheet, sheet_map
from tapscan.workflow.typed import state

ORDER = "soft,hard,hard"


def layouts(request: Request) -> Response:
    """The shop's own first."""
    folder = request.app.state.folder
    every = [(name, named_layout(folder, name)) for name in layout_names(folder)]
    return show(request, "layouts.html", layouts=every, own=own_layouts(folder))


def layout(request: Request) -> Response:
    """The map, and the places in the order in which they are tapped."""
    name, told = asked(request, "name"), state(asked(request, "state"), "State of the plate")
    found = named_layout(request.app.state.folder, name)
    return show(
        request,
        "layout.html",
        name=name,
        layout=found,
        own=name in own_layouts(request.app.state.folder),
        state=told,
        allowed=found.allowed(told),
        map=sheet_map(found, told),
        order=asked(request, "order") or ORDER,
    )


def sheet(request: Request) -> Response:
    """Prints to A4 and to Letter."""
    name, told = asked(request, "name"), state(asked(request, "state"), "State of the plate")
    found = named_layout(request.app.state.folder, name)
    if not found.allowed(told):
        raise BadRequest(f"{name}: no place of it may be tapped in the state {told}; take another layout")
    html = render_sheet(found, told, read_order(asked(request, "order") or ORDER), name)
    return HTMLResponse(html, headers={"content-security-policy": OWN_POLICY})


ROUTES = [Route("/layouts", layouts), Route("/layout", layout), Route("/layout/sheet", sheet)]
