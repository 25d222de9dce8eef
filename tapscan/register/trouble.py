"""Trouble of the disk or the database, said in one line with what would mend it.

plain_words(place)   a `with` block in which OSError and database errors become RegisterProblem
"""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import exc

from tapscan.errors import MayOnlyRead, NotReached, RegisterProblem
from tapscan.register.address import Place, Server, place_told, without_secrets


@contextmanager
def plain_words(place: Place) -> Iterator[None]:
    """Trouble of the disk, the database or the way to it, said in one line with what would mend it."""
    try:
        yield
    except (exc.DBAPIError, sqlite3.Error) as problem:
        raise _told(place, str(getattr(problem, "orig", problem)), _away(problem)) from None
    except RegisterProblem:
        raise
    except OSError as problem:
        raise _told(place, (problem.strerror or str(problem)).lower()) from None


def _away(problem: Exception) -> bool:
    """Whether the way to a server was lost, and not what was asked of it."""
    return isinstance(problem, exc.DBAPIError) and (
        problem.connection_invalidated
        or (isinstance(problem, exc.OperationalError) and _state(problem) in (None, "57P0"))
    )


def _state(problem: exc.DBAPIError) -> str | None:
    """First four signs of the code that a server gives; None where it gave none. 57P0: it is being shut down or started."""
    code = getattr(problem.orig, "sqlstate", "none of SQLite's")
    return str(code)[:4] if code else None


WORDS = (
    (("disk is full", "no space", "too large", "quota"), "the disk is full; nothing was stored: free some space and do it again"),
    (("locked", "lock timeout"), "another tapscan is writing to it and did not finish in time; nothing was stored: do it again"),
    (("readonly", "read-only", "permission", "not permitted"), "it may not be written to; change its permissions or copy it"),
    (("not a database", "malformed"), "its database is damaged; restore a backup, or a copy from its folder `backups`"),
    (("unable to open", "no such file", "disk i/o", "input/output", "not a directory", "stale"),
     "the folder cannot be reached, or its disk is full; nothing was stored: see to the disk and do it again"),
)  # fmt: skip
AWAY = "the server does not answer; nothing was stored: see whether it runs and the network is there, then do it again"
NOBODY = "there is no such account or database on the server; see docs/server.md"
REFUSED = "the server refuses this account or its password; the password belongs in ~/.pgpass, see docs/server.md"
OF_A_SERVER = (
    (RegisterProblem, r"password authentication|no password supplied|pg_hba", REFUSED),
    (RegisterProblem, r'(role|database) ".*" does not exist', NOBODY),
    (
        MayOnlyRead,
        r"permission denied",
        "this account may only read; nothing was stored: take a bench's account to write",
    ),
    (
        MayOnlyRead,
        r"read-only transaction",
        "the server takes no changes just now; nothing was stored: ask who looks after it",
    ),
    (
        RegisterProblem,
        r"0x00",
        "a text holds a sign that PostgreSQL cannot keep (NUL); nothing was stored: take it out of the note or name",
    ),
)


def _told(place: Place, what: str, away: bool = False) -> RegisterProblem:
    name = place_told(place)
    if isinstance(place, Server):
        what = without_secrets(" ".join(what.split()), place.url)
        for kind, pattern, words in OF_A_SERVER:
            if re.search(pattern, what, re.IGNORECASE):
                return kind(f"{name}: {words}")
    if isinstance(place, Server) and "lock timeout" in what:
        return NotReached(f"{name}: {WORDS[1][1]}")
    if away:
        return NotReached(f"{name}: {AWAY}")
    for signs, words in WORDS:
        if any(sign in what.lower() for sign in signs):
            return RegisterProblem(f"{name}: {words}")
    stored = "nothing was stored: run `tapscan register check`"
    return RegisterProblem(f"{name}: the register gave an error ({what}); {stored}")
