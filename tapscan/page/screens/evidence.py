"""What examinations found, against what tapscan had said, on the shop's own plates."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tapscan.page.opened import register_of
from tapscan.page.shown import show
from tapscan.workflow.evidence import evidence_of, evidence_rows, too_few


def evidence(request: Request) -> Response:
    """By rule, state and sensor; each plate counts once."""
    found = evidence_of(register_of(request))
    some = bool(found.examined)
    return show(
        request,
        "evidence.html",
        rows=evidence_rows(found) if some else [],
        too_few=too_few(found) if some else "",
        plates=len(found.examined),
    )


ROUTES = [Route("/evidence", evidence)]
