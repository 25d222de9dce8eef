"""The reading of a scan: the same sentences as on the terminal, then the sections of the report."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.page.forms import asked, reading_number
from tapscan.page.opened import register_of
from tapscan.page.shown import go, show, to
from tapscan.workflow.history import baseline_of, doubted
from tapscan.workflow.reading import reading_of
from tapscan.workflow.register import Register
from tapscan.workflow.scan import ScanEntry


def scan(request: Request) -> Response:
    """What was found and what to do first."""
    register, number = register_of(request), reading_number(asked(request, "reading"))
    reading = reading_of(register, asked(request, "name"), number)
    if number == reading.entry.current.number:
        return go(to("/scan", name=reading.entry.name))
    screening = reading.screening
    relevant = [i for i in screening.indications if i.interpretation == "relevant"]
    return show(
        request,
        "scan.html",
        r=reading,
        s=screening,
        e=reading.entry,
        figures=[i.sentence for i in relevant] or [screening.summary],
        number=number,
        like=next((d.sounds_like.rpartition("/")[0] for d in screening.doubts if d.sounds_like), ""),
        beside=_beside_baseline(register, reading.entry),
        used=sum(strike.usable for strike in screening.scan.strikes),
        stations=len({strike.station for strike in screening.scan.strikes}),
    )


def _beside_baseline(register: Register, entry: ScanEntry) -> bool:
    """Whether there is a baseline that it can be compared with."""
    compared = not (entry.crossed_out or entry.played or entry.baseline or doubted(entry.current.headline))
    return compared and bool(baseline_of(register, entry.plate))


ROUTES = [Route("/scan", scan)]
