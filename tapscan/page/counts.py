"""What takes too long for a page of a large shop: counted when somebody asks, and kept, with its time, until it is asked again.

count(request, title, key, back, make)   on to the progress, then to `back`
count_of(request, key)                   what was made last; None before
counted_at(request, key)                 when that was, in words; empty before
"""

import datetime as dt
from collections.abc import Callable
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from tapscan.page.shown import go, to
from tapscan.workers import Progress

Counts = dict[str, tuple[dt.datetime, Any]]


def count(request: Request, title: str, key: str, back: str, make: Callable[[], Any]) -> Response:
    """Two windows that ask for the same get the same work."""
    counts: Counts = request.app.state.counts

    def do(progress: Progress) -> str:
        progress(title, 0, 0)
        asked_for = dt.datetime.now()
        counts[key] = asked_for, make()
        return back

    return go(to("/progress", id=request.app.state.works.begin(title, do, f"count {key}", back).id))


def count_of(request: Request, key: str) -> Any:
    """As it was when it was asked for."""
    counts: Counts = request.app.state.counts
    return counts[key][1] if key in counts else None


def counted_at(request: Request, key: str) -> str:
    """What came into the register since is not in it."""
    counts: Counts = request.app.state.counts
    return f"As of {counts[key][0]:%Y-%m-%d %H:%M}." if key in counts else ""
