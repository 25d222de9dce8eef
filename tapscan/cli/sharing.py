"""Work shared between processes, as the command line offers it.

JOBS                     the option
progress_of(workers)     context manager: its progress on a line
"""

from collections.abc import Iterator
from contextlib import contextmanager
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


@contextmanager
def progress_of(workers: Workers) -> Iterator[None]:
    """Until the work is done."""
    from tapscan.cli.progress import progress_line

    with progress_line() as workers.progress:
        yield
