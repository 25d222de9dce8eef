"""Other processes that begin before their work is known, so that they import while this process does, and go ahead with what they can guess.

begun_early(preload, ahead)   context manager, a process for each of `ahead`: whom nobody has taken by its end is ended, without a word
taken(preload)                one of them that imports just these modules; None where there is none
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress

from tapscan.workers.other_process import NONE_BEGAN, Ahead, Other, interrupts_wait

_waiting: list[tuple[tuple[str, ...], Other]] = []


@contextmanager
def begun_early(preload: Sequence[str], ahead: Sequence[Ahead]) -> Iterator[None]:
    """Where none can begin nothing is said: Workers try again, and say it."""
    try:
        if ahead:
            with suppress(*NONE_BEGAN), interrupts_wait():
                for one in ahead:
                    _waiting.append((tuple(preload), Other(preload, ahead=one)))
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
