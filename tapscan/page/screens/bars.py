"""The shop's reference bars: what each is, and what was heard of it with each scan."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.page.forms import Form, asked
from tapscan.page.opened import register_of
from tapscan.page.shown import go, show, to
from tapscan.workflow.bars import TAPS_APART, bar_rows, find_bar, list_bars, note_bar
from tapscan.workflow.typed import words

NEWEST = 8  # scans; more take a while


def bars(request: Request) -> Response:
    """All of them, and a form for a new one."""
    return show(request, "bars.html", bars=list_bars(register_of(request)))


def bar(request: Request) -> Response:
    """Its newest readings, the oldest first; or all of them."""
    register = register_of(request)
    found, every = find_bar(register, asked(request, "name")), bool(asked(request, "all"))
    rows = bar_rows(register, found.name, None if every else NEWEST + 1)
    scans = list(dict.fromkeys(row[0] for row in rows))
    more = not every and len(scans) > NEWEST
    if more:
        rows = [row for row in rows if row[0] in scans[-NEWEST:]]
    return show(request, "bar.html", b=found, rows=rows, apart=TAPS_APART, more=more)


def note(request: Request) -> Response:
    """A name that is not known yet is a new bar."""
    form = Form(request)
    found = note_bar(register_of(request), form.text("name"), words(form.text("notes")))
    return go(to("/bar", name=found.name, said=f"Noted for reference bar {found.name}."))


ROUTES = [
    Route("/bars", bars, methods=["GET"]),
    Route("/bar", bar, methods=["GET"]),
    Route("/bar", note, methods=["POST"]),
]
