"""Templates to pages: everything from outside is escaped, unknowns become a word, a missing name is an error.

show(request, template, **names)     the page
to(address, **query)                 an address with its query
go(address)                          a redirect after a change
trouble(request, status, told, ...)  what could not be done, and the way back
"""

from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse

from tapscan import __version__
from tapscan.clock import clock
from tapscan.page.terms import here
from tapscan.places import IN_PIANO
from tapscan.sensors import SENSOR_WORDS
from tapscan.wording import counted, listed
from tapscan.workflow.report import IN_WORDS, PLUS_MINUS, legible

TEMPLATES = Path(__file__).with_name("templates")


def to(address: str, **query: object) -> str:
    """Names of plates and scans stand in the query, where no sign of theirs can be taken for a part of a path."""
    told = {key: value for key, value in query.items() if value is not None}
    return f"{address}?{urlencode(told)}" if told else address


def go(address: str) -> RedirectResponse:
    """So that a page that is loaded again does not do it again."""
    return RedirectResponse(address, 303)


def show(request: Request, template: str, status: int = 200, **names: Any) -> HTMLResponse:
    """Every template also knows `token`, `version`, `place` (the address's path) and `said` (a word on what was done)."""
    always = {
        "token": request.app.state.door.token,
        "version": __version__,
        "place": request.url.path,
        "said": request.query_params.get("said", ""),
    }
    text = _environment().get_template(template).render({**always, **names})
    return HTMLResponse(text.encode("utf-8", "replace"), status)


def trouble(request: Request, status: int, told: str, back: str | None = None, way: str | None = None) -> HTMLResponse:
    """`back` : None: the plates; `way` : what leads there is called. What was typed is spoken of only where something was sent."""
    way = way or ("Go back" if back else "To the plates")
    typed = back is None and request.method == "POST"
    return show(request, "problem.html", status, problem=told, back=back or "/", way=way, typed=typed)


def _told(value: Any) -> Any:
    """Text from outside made legible, line by line."""
    if type(value) is not str:
        return legible(value)
    return "\n".join(map(legible, value.split("\n")))


@cache
def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_told,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["here"] = here  # sentences of the program, never what a person wrote
    made.globals.update(
        to=to,
        clock=clock,
        counted=counted,
        listed=listed,
        states=IN_WORDS,
        in_piano=IN_PIANO,
        sensors=SENSOR_WORDS,
        plus_minus=PLUS_MINUS,
    )
    return made
