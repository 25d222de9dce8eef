"""A scan beside the plate's baseline: what fell, by how much, and both to be heard in turn."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.errors import BadRequest, StillDoubted, UnknownName
from tapscan.page.forms import asked
from tapscan.page.opened import register_of
from tapscan.page.shown import show, to, trouble
from tapscan.workflow.comparing import Compared, comparison_of, sound_at
from tapscan.workflow.plate import find_plate
from tapscan.workflow.still_open import open_findings, plainly

MOST_ROWS = 8
JOBS = {"one": True, "seasons": False}  # else by the dates of the scans


def compare(request: Request) -> Response:
    """The newest scan, or the one that is named; with the baseline, or with one scan that is named."""
    plate = find_plate(register_of(request), asked(request, "plate"), exact=True).name
    against = [name for name in request.query_params.getlist("against") if name]
    job = asked(request, "job")
    try:
        shown = comparison_of(register_of(request), plate, asked(request, "scan") or None, against, JOBS.get(job))
    except StillDoubted as problem:
        return trouble(request, 400, str(problem), to("/scan", name=problem.scan), f"To {problem.scan}")
    except BadRequest as problem:
        return trouble(request, 400, str(problem), to("/plate", name=plate), f"To {plate}")
    return _shown(request, shown, against, job)


def _shown(request: Request, shown: Compared, against: list[str], job: str) -> Response:
    register = register_of(request)
    changed = [p for p in shown.comparison.pairs if p.fell or p.loss_rose]
    rows = sorted(changed or shown.comparison.pairs, key=lambda p: -p.normalised_drop)[:MOST_ROWS]
    return show(
        request,
        "compare.html",
        plate=shown.plate,
        c=shown.comparison,
        scans=shown.scans,
        stations=shown.stations,
        chosen=shown.first,
        in_piano=shown.in_piano,
        against=against,
        job=job,
        rows=rows,
        changed=changed,
        open_findings=plainly(register, shown.plate, open_findings(register, shown.plate)),
        plain=shown.plain,
        common=shown.common,
        tones=shown.tones,
    )


def sound(request: Request) -> Response:
    """The clearest tap of a scan at a place, brought to the same peak as all others."""
    mp3 = sound_at(register_of(request), asked(request, "scan"), asked(request, "station"))
    if mp3 is None:
        raise UnknownName("there is no tap to be heard at this place")
    return Response(mp3, media_type="audio/mpeg", headers={"cache-control": "private, max-age=3600"})


ROUTES = [Route("/compare", compare), Route("/sound", sound)]
