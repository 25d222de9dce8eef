"""Other processes begin before the command line is read properly: what reads it takes long to import, and so does what they need themselves.

begun_early(words)   context manager around a command; what it guesses wrongly costs time and nothing else
"""

import os
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path

from tapscan.workflow.sharing import early_work

COMMANDS = (("check",), ("scan", "import"))  # those that name their recordings
JOBS, JOBS_VARIABLE = "--jobs", "TAPSCAN_JOBS"


def begun_early(words: Sequence[str]) -> AbstractContextManager[None]:
    """`words` : as typed, without the program's name."""
    named = any(tuple(words[: len(command)]) == command for command in COMMANDS)
    if not named or "--help" in words:
        return nullcontext()
    told = _jobs(words)
    if told and not told.isdecimal():  # it will be refused
        return nullcontext()
    return early_work(int(told) if told else None, [word for word in words if Path(word).is_file()])


def _jobs(words: Sequence[str]) -> str:
    """Empty where nobody said it."""
    said = [after for word, after in zip(words, [*words[1:], ""], strict=True) if word == JOBS]
    said += [word.removeprefix(f"{JOBS}=") for word in words if word.startswith(f"{JOBS}=")]
    return said[-1] if said else os.environ.get(JOBS_VARIABLE, "")
