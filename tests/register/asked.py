"""A process of a test that is asked for something a line at a time, so that what it needs is imported once.

asked_in_lines(module, **more)   context manager: the process; more environment for it
"""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[2]


@contextmanager
def asked_in_lines(module: str, **more: str) -> Iterator[subprocess.Popen[str]]:
    command, env = [sys.executable, "-m", module], {**os.environ, **more}
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT, env=env
    ) as child:
        yield child
        child.stdin.close()
