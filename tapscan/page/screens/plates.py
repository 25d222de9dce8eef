"""All plates at a glance; and the first words where there is no register yet."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.page.forms import asked, whole_number
from tapscan.page.opened import has_register, register_of
from tapscan.page.shown import show
from tapscan.workflow.at_a_glance import KINDS, as_they_stand, chosen, lines
from tapscan.workflow.last_register import last_register, missing

A_PAGE = 50  # plates


def plates(request: Request) -> Response:
    """Found by words, by what is to be done; fifty at a time."""
    if not has_register(request):
        return _welcome(request)
    retired = bool(asked(request, "retired"))
    register = register_of(request)
    every = lines(register, retired=retired)
    words, kind = asked(request, "words"), asked(request, "kind")
    found = chosen(every, words, kind)
    first = min(whole_number(asked(request, "from")), max(0, len(found) - 1))
    return show(
        request,
        "plates.html",
        lines=as_they_stand(register, found[first : first + A_PAGE]),
        found=len(found),
        every=len(every),
        counts={k: (said, sum(k in line.kinds for line in every)) for k, said in KINDS.items()},
        words=words,
        kind=kind,
        retired=retired,
        first=first,
        a_page=A_PAGE,
    )


def _welcome(request: Request) -> Response:
    """A register that was moved is asked about, and not silently begun anew."""
    folder = request.app.state.folder
    last = last_register()
    return show(request, "welcome.html", folder=folder, trouble=missing(request.app.state.place) if last else None)


ROUTES = [Route("/", plates)]
