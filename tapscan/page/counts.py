"""What takes too long for a page of a large shop: counted when somebody asks, and kept until it is asked again.

count(request, title, key, back, make)   on to the progress, then to `back`
count_of(request, key)                   what was made last; None before
"""

from collections.abc import Callable
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from tapscan.page.shown import go, to
from tapscan.workers import Progress


def count(request: Request, title: str, key: str, back: str, make: Callable[[], Any]) -> Response:
    """Two windows that ask for the same get the same work."""
    counts: dict[str, Any] = request.app.state.counts

    def do(progress: Progress) -> str:
        progress(title, 0, 0)
        counts[key] = make()
        return back

    return go(to("/work", id=request.app.state.works.begin(title, do, f"count {key}", back).id))


def count_of(request: Request, key: str) -> Any:
    """As it was when it was asked for."""
    return request.app.state.counts.get(key)
