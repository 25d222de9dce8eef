"""A plate's tones through all its scans."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.page.forms import asked
from tapscan.page.opened import register_of
from tapscan.page.shown import show
from tapscan.workflow.as_listed import headings
from tapscan.workflow.history import history_of
from tapscan.workflow.settings import read_settings
from tapscan.workflow.trend_sentences import course_words


def history(request: Request) -> Response:
    """Those that moved, in the words of the terminal."""
    register = register_of(request)
    found = history_of(register, asked(request, "plate"), read_settings(None))
    said = headings(register, found.plate)
    return show(request, "history.html", h=found, headings=said, told=course_words(found), picture=None)


ROUTES = [Route("/history", history)]
