"""The command line run inside the test process: exit status, standard output, standard error.

The tree of commands is built once for all runs of a process; the program builds it once as well.
"""

import io
import os
import re
import shlex
import sys
from collections.abc import Sequence
from contextlib import redirect_stderr, redirect_stdout
from functools import cache
from pathlib import Path
from typing import Any
from unittest.mock import patch

import typer.main
from msgspec import Struct

from tapscan import __version__
from tapscan.cli import main
from tapscan.cli.app import app
from tests.snapshots import without_figures

TREE = cache(typer.main.get_command)


class Done(Struct, frozen=True):
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
    done = Done(status, out.read(), err.read())
    strange = options_it_lacks(argv, done.err)
    assert not strange, f"{' '.join(argv)} has no {', '.join(sorted(strange))}: {done.err}"
    return done


def options_it_lacks(argv: Sequence[str], said: str) -> set[str]:
    """Options that a message names and that its command does not have. After "tapscan" another command's may stand; what was typed may come back."""
    command: Any = TREE(app)
    for word in argv[1:]:
        if word not in getattr(command, "commands", {}):
            break
        command = command.commands[word]
    own = {"--help", *(name for p in command.params for name in (*p.opts, *p.secondary_opts))}
    here = re.sub(r"`[a-z][^`]*`|tapscan [a-z][^.;:,]*", "", flat(said).replace("tapscan: ", ""))
    named = set(re.findall(r"(?<![\w-])--[a-z][\w-]*", here))
    return named - own - {word.partition("=")[0] for word in argv}


def flat(text: str) -> str:
    """Without the folds of the terminal."""
    return " ".join(text.split())


def screens(*commands: Sequence[object], measured: bool = False) -> str:
    """What is typed and what is answered, command after command, for a snapshot: no line folded, no time of day, version or folder of a file.

    `measured`: from real sound, so without figures and without the rows of modes.
    """
    told = []
    for words in commands:
        with patch.dict(os.environ, COLUMNS="2000"):
            done = run(*words)
        typed = shlex.join(w.name if isinstance(w, Path) else str(w) for w in words)
        told.append(f"$ tapscan {typed}\n{done.out}{done.err}")
    whole = "\n".join(told).replace(f"tapscan {__version__}", "tapscan VERSION")
    whole = re.sub(
        r"\d{4}-\d\d-\d\d \d\d:\d\d [-+]\d\d:\d\d", "TIME", re.sub(r"settings [0-9a-f]{12}", "settings HASH", whole)
    )
    if not measured:
        return whole
    rows = [re.sub(r"(?<=\S) {2,}", "  ", row) for row in whole.splitlines() if not re.match(r"M\d+ ", row)]
    return without_figures("\n".join(rows))
