"""A few facts of the register itself, in a table of it.

read(connection, name), write(connection, name, value)
files_url(connection)       where the recordings of a register on a server lie
files_wanted(told)          the same for one that is about to be made

Where recordings lie stands in the database and not beside each bench's --register: two benches that name two places would part the
archive without noticing. TAPSCAN_FILES overrides it for a bench that reaches the same place by another road, say another drive letter; every file is
held against its hash as it is read, so a wrong place is noticed at once.
"""

import os
from urllib.parse import urlsplit

from sqlalchemy import Connection, select

from tapscan.errors import BadRequest
from tapscan.register import tables as t

FILES = "files"  # URL
UNFINISHED = "unfinished move from"
IDENTITY = "identity"  # of this register, whatever server or folder it is moved to
VARIABLE = "TAPSCAN_FILES"
EXAMPLES = "file:///srv/tapscan for a shared folder, s3://bucket/tapscan for an object store"


def read(connection: Connection, name: str) -> str | None:
    """None where it is not set."""
    value: str | None = connection.execute(select(t.setting.c.value).where(t.setting.c.name == name)).scalar()
    return value


def write(connection: Connection, name: str, value: str | None) -> None:
    """None takes it away."""
    connection.execute(t.setting.delete().where(t.setting.c.name == name))
    if value is not None:
        connection.execute(t.setting.insert().values(name=name, value=value))


def files_url(connection: Connection) -> str:
    """By the road of this bench, else the register's own."""
    return files_wanted(read(connection, FILES))


def files_wanted(told: str | None) -> str:
    """Raises BadRequest where nobody says."""
    url = os.environ.get(VARIABLE) or told
    if not url:
        raise BadRequest(f"where are recordings and photos kept? Set {VARIABLE} once: {EXAMPLES}")
    return checked_url(url)


def checked_url(url: str) -> str:
    """Raises BadRequest for an address that holds a password: it would be kept in the database."""
    parts = urlsplit(url)
    if not parts.scheme or "://" not in url:
        raise BadRequest(f"{VARIABLE}, --files: give an address: {EXAMPLES}")
    if parts.password or parts.query:
        raise BadRequest(
            "--files: no password belongs in this address; the keys are in the environment or in ~/.aws/credentials"
        )
    return url.rstrip("/")
