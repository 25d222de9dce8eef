"""The reading of a scan: the same sentences as on the terminal, then the sections of the report."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.page.forms import asked, reading_number
from tapscan.page.opened import register_of
from tapscan.page.shown import show
from tapscan.workflow.reading import reading_of


def scan(request: Request) -> Response:
    """What was found and what to do first."""
    number = reading_number(asked(request, "reading"))
    reading = reading_of(register_of(request), asked(request, "name"), number)
    screening = reading.screening
    relevant = [i for i in screening.indications if i.interpretation == "relevant"]
    return show(
        request,
        "scan.html",
        r=reading,
        s=screening,
        e=reading.entry,
        found=relevant,
        number=number,
        used=sum(strike.usable for strike in screening.scan.strikes),
        stations=len({strike.station for strike in screening.scan.strikes}),
    )


ROUTES = [Route("/scan", scan)]
