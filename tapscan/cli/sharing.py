"""Work shared between processes, as the command line offers it.

JOBS                     the option
shared_work(jobs, ...)   Workers for one command; the others begin at once where the recordings hold work for seconds
bytes_of(recordings)     how much sound that is
progress_of(workers)     context manager: its progress on a line
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Annotated, Optional

import typer

from tapscan.workers import MOST, Workers

JOBS = Annotated[
    Optional[int],  # noqa: UP045
    typer.Option(
        "--jobs",
        min=1,
        metavar="N",
        envvar="TAPSCAN_JOBS",
        help=f"Processes that work at once: 1 starts no other; else one for each core, {MOST} at most. The figures are the same.",
    ),
]
WORTH_BYTES = 2_000_000  # of sound; less is listened to sooner than another process is ready
UNASKED_BYTES = 20_000_000  # where nobody said --jobs: less gains some tenths of a second, and costs more where other work wants the cores
NEEDED = ("tapscan.workflow.places", "tapscan.signal.plate.plate_modes")


def shared_work(jobs: int | None, sound_bytes: int) -> Workers:
    """Called before anything slow is imported, so that the others get ready meanwhile."""
    workers = Workers(jobs, NEEDED)
    if sound_bytes > (UNASKED_BYTES if jobs is None else WORTH_BYTES):
        workers.start()
    return workers


def bytes_of(recordings: Sequence[str]) -> int:
    """Of the files that are there; the others are told of later, with their reason."""
    size = 0
    for path in recordings:
        with suppress(OSError):
            size += Path(path).stat().st_size
    return size


@contextmanager
def progress_of(workers: Workers) -> Iterator[None]:
    """Until the work is done."""
    from tapscan.cli.progress import progress_line

    with progress_line() as workers.progress:
        yield
