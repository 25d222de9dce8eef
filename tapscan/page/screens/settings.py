"""What the shop does every time, and every threshold with its unit, reason and source."""

from msgspec.structs import replace
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.page.forms import Form
from tapscan.page.opened import register_of
from tapscan.page.shown import go, show, to
from tapscan.workflow.defaults import KEYS, change_defaults, defaults_file, read_defaults
from tapscan.workflow.own_layouts import layout_names, layout_of, name_of
from tapscan.workflow.report import DATES
from tapscan.workflow.settings import every_threshold, read_settings


def settings(request: Request) -> Response:
    """The defaults as a form; the thresholds to read."""
    folder = request.app.state.folder
    thresholds = every_threshold(read_settings(None))
    kept = read_defaults(folder)
    layout = name_of(folder, kept.layout or "")
    stages = {name: [t for t in thresholds if t.stage == name] for name in dict.fromkeys(t.stage for t in thresholds)}
    return show(
        request,
        "settings.html",
        d=replace(kept, layout=layout),
        layouts=[(name, name) for name in dict.fromkeys((*layout_names(folder), layout)) if name],
        dates=[(form, form) for form in DATES],
        file=defaults_file(folder),
        stages=stages,
    )


def change(request: Request) -> Response:
    """All fields at once; an empty one takes the default away."""
    form, folder = Form(request), register_of(request).folder
    told = {key: form.text(key) for key in KEYS}
    if told["layout"] == read_defaults(folder).layout:  # a file elsewhere, which somebody named in the terminal
        del told["layout"]
    elif told["layout"]:
        told["layout"] = layout_of(folder, told["layout"])
    change_defaults(folder, [f"{key}={value}" for key, value in told.items()])
    return go(to("/settings", said="Kept."))


ROUTES = [Route("/settings", settings, methods=["GET"]), Route("/settings", change, methods=["POST"])]
