"""A progress line on stderr, only where someone can see it.

progress_line()   context manager giving the callback that workflow calls
"""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from tapscan.workers import quiet

WORDS = {"reading": "Reading recordings", "listening": "Listening to stations"}


@contextmanager
def progress_line(*, remaining: bool = False) -> Iterator[Callable[[str, int, int], None]]:
    """The bar goes away when the work is done. remaining : with the time that it will still take."""
    if not sys.stderr.isatty():
        yield quiet
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, ProgressColumn, TextColumn, TimeRemainingColumn

    columns: list[ProgressColumn] = [TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn()]
    columns += [TimeRemainingColumn()] if remaining else []
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        tasks: dict[str, int] = {}

        def report(stage: str, done: int, total: int) -> None:
            if stage not in tasks:
                tasks[stage] = bar.add_task(WORDS.get(stage, stage), total=total)
            bar.update(tasks[stage], completed=done, total=total)  # type: ignore[arg-type]

        yield report
