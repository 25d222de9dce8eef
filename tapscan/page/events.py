"""What happens, told to a page that listens (server-sent events).

Channel()                     say(event) from any thread; the newest state is kept for whoever comes later
stream(channel, request)      the response: one `data:` line of JSON an event, a beat while nothing happens
"""

import asyncio
import json
from collections.abc import AsyncIterator, Mapping
from threading import Lock
from typing import Any

from starlette.requests import Request
from starlette.responses import StreamingResponse

BEAT_S = 10.0
STEP_S = 0.05
MOST_KEPT = 200  # events; a page that falls further behind begins anew with the newest


class Channel:
    """Events in order. `ended` : nothing more will come."""

    def __init__(self) -> None:
        self._lock, self._events, self._first = Lock(), list[Mapping[str, Any]](), 0
        self.ended = False

    def say(self, event: Mapping[str, Any], *, last: bool = False) -> None:
        """From any thread."""
        with self._lock:
            self._events.append(event)
            if len(self._events) > MOST_KEPT:
                self._first += len(self._events) - MOST_KEPT
                del self._events[: len(self._events) - MOST_KEPT]
            self.ended = self.ended or last

    @property
    def next_number(self) -> int:
        """Of the event that will come next."""
        with self._lock:
            return self._first + len(self._events)

    def since(self, number: int) -> tuple[list[Mapping[str, Any]], int]:
        """Events from `number` on, and the number to ask for next."""
        with self._lock:
            start = max(0, number - self._first)
            return self._events[start:], self._first + len(self._events)


async def _lines(channel: Channel, request: Request) -> AsyncIterator[str]:
    number, idle = max(0, channel.next_number - 1), 0.0  # the newest first
    while not await request.is_disconnected():
        ended = channel.ended
        events, number = channel.since(number)
        for event in events:
            yield f"data: {json.dumps(event, ensure_ascii=False)}\n\n"
        if ended:
            return
        idle = 0.0 if events else idle + STEP_S
        if idle >= BEAT_S:
            idle = 0.0
            yield ": still here\n\n"
        await asyncio.sleep(STEP_S)


def stream(channel: Channel, request: Request) -> StreamingResponse:
    """For `EventSource`."""
    return StreamingResponse(_lines(channel, request), media_type="text/event-stream")
