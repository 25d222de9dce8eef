"""Other processes that begin before their work is known, so that they import while this process does.

begun_early(count, preload)   context manager: whom nobody has taken by its end is ended, without a word
taken(preload)                one of them that imports just these modules; None where there is none
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress

from tapscan.workers.other_process import NONE_BEGAN, Other, interrupts_wait

_waiting: list[tuple[tuple[str, ...], Other]] = []


@contextmanager
def begun_early(count: int, preload: Sequence[str]) -> Iterator[None]:
    """Where none can begin nothing is said: Workers try again, and say it."""
    try:
        if count:
            with suppress(*NONE_BEGAN), interrupts_wait():
                for _ in range(count):
                    _waiting.append((tuple(preload), Other(preload, low=False)))
        yield
    finally:
        while _waiting:
            _, other = _waiting.pop()
            other.process.kill()
            other.process.join()


def taken(preload: Sequence[str]) -> Other | None:
    """It is the caller's to end."""
    found = next((k for k, (modules, _) in enumerate(_waiting) if modules == tuple(preload)), None)
    return None if found is None else _waiting.pop(found)[1]
