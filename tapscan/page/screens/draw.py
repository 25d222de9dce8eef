"""An outline and places drawn on a photo of the plate, into a layout file. The photo stays in the browser; only points come here."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.page.forms import Form, asked
from tapscan.page.opened import register_of
from tapscan.page.shown import go, show, to
from tapscan.workflow.drawn_layout import USUAL_SIDES, drawing_from, drawing_json, drawing_of, keep_drawing
from tapscan.workflow.own_layouts import named_layout, own_layouts


def draw(request: Request) -> Response:
    """An empty sheet; or a layout that is there, to be changed or copied."""
    register, name = register_of(request), asked(request, "name")
    own = name in own_layouts(register.folder)
    drawing = drawing_of(named_layout(register.folder, name), name if own else "") if name else None
    return show(
        request,
        "draw.html",
        was=name if own else "",
        drawing=drawing_json(drawing) if drawing else "",
        d=drawing,
        kinds=USUAL_SIDES,
    )


def keep(request: Request) -> Response:
    """Checked by the reader of layout files."""
    form = Form(request)
    layout = keep_drawing(register_of(request).folder, drawing_from(form.text("drawing")), form.text("was"))
    told = f"Kept: {len(layout.stations)} places. Print the sheet to chalk them from."
    return go(to("/layout", name=layout.name, said=told))


ROUTES = [Route("/layout/draw", draw, methods=["GET"]), Route("/layout/draw", keep, methods=["POST"])]
