"""The command line run inside the test process: exit status, standard output, standard error.

The tree of commands is built once for all runs of a process; the program builds it once as well.
"""

import io
import re
import shlex
import sys
from collections.abc import Sequence
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from functools import cache
from unittest.mock import patch

import typer.main

from tapscan import __version__
from tapscan.cli import main

TREE = cache(typer.main.get_command)


@dataclass(frozen=True)
class Done:
    status: int
    out: str
    err: str


def run(*words: object, answer: str | None = None) -> Done:
    """`answer`: what a person at a terminal types; None: nobody is there."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    typed = io.StringIO(answer or "")
    typed.isatty = lambda: answer is not None  # type: ignore[method-assign]
    argv: Sequence[str] = ["tapscan", *map(str, words)]
    status = 0
    with (
        patch.object(sys, "argv", argv),
        patch.object(sys, "stdin", typed),
        patch.object(typer.main, "get_command", TREE),
        redirect_stdout(out),
        redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as end:
            status = int(end.code or 0)
    out.seek(0)
    err.seek(0)
    return Done(status, out.read(), err.read())


def flat(text: str) -> str:
    """Without the folds of the terminal."""
    return " ".join(text.split())


def screens(*commands: Sequence[object]) -> str:
    """What is typed and what is answered, command after command, for a snapshot; without the time of day and the version."""
    told = []
    for words in commands:
        done = run(*words)
        told.append(f"$ tapscan {shlex.join(map(str, words))}\n{done.out}{done.err}")
    now = r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ"
    return re.sub(now, "TIME", "\n".join(told)).replace(f"tapscan {__version__}", "tapscan VERSION")
