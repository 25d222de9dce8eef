"""Trouble of the disk or the database, said in one line with what would mend it.

plain_words(folder)   a `with` block in which OSError and database errors become RegisterProblem
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import exc

from tapscan.errors import RegisterProblem


@contextmanager
def plain_words(folder: Path) -> Iterator[None]:
    """Trouble of the disk or the database, said in one line with what would mend it."""
    try:
        yield
    except (exc.DBAPIError, sqlite3.Error) as problem:
        raise RegisterProblem(_told(folder, str(getattr(problem, "orig", problem)))) from None
    except RegisterProblem:
        raise
    except OSError as problem:
        raise RegisterProblem(_told(folder, (problem.strerror or str(problem)).lower())) from None


WORDS = (
    (("disk is full", "no space", "too large", "quota"), "the disk is full; nothing was stored: free some space and do it again"),
    (("locked",), "another tapscan is writing to it and did not finish in time; nothing was stored: do it again"),
    (("readonly", "read-only", "permission", "not permitted"), "it may not be written to; change its permissions or copy it"),
    (("not a database", "malformed"), "its database is damaged; restore a backup, or a copy from its folder `backups`"),
    (("unable to open", "no such file", "disk i/o", "input/output", "not a directory", "stale"),
     "the folder cannot be reached, or its disk is full; nothing was stored: see to the disk and do it again"),
)  # fmt: skip


def _told(folder: Path, what: str) -> str:
    for signs, words in WORDS:
        if any(sign in what.lower() for sign in signs):
            return f"{folder}: {words}"
    return f"{folder}: the register gave an error ({what}); nothing was stored: run `tapscan register check`"
