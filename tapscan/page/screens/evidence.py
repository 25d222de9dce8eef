"""What examinations found, against what tapscan had said, on the shop's own plates."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.page.counts import count, count_of, counted_at
from tapscan.page.opened import register_of
from tapscan.page.shown import show
from tapscan.workflow.evidence import evidence_of, evidence_rows, left_out, too_few

KEY = "evidence"


def evidence(request: Request) -> Response:
    """By rule, state and sensor; each plate counts once."""
    register_of(request)
    found = count_of(request, KEY)
    some = bool(found and found.examined)
    return show(
        request,
        "evidence.html",
        counted_once=found is not None,
        rows=evidence_rows(found) if some else [],
        too_few=too_few(found) if some else "",
        left_out=left_out(found) if found else [],
        plates=len(found.examined) if found else 0,
        counted_at=counted_at(request, KEY),
    )


def begin(request: Request) -> Response:
    """Every reading with an outcome is looked at."""
    register = register_of(request)
    return count(request, "What examinations found", KEY, "/evidence", lambda: evidence_of(register))


ROUTES = [Route("/evidence", evidence, methods=["GET"]), Route("/evidence", begin, methods=["POST"])]
