"""SQLite in the register's folder: all that another database does differently.

engine_of(folder)                 connections that write in one transaction, one writer at a time
revision_of(folder)               read without write access; None while it is empty
copy_database(folder, target)     a consistent copy while others read and write
damage(connection)                what SQLite's own check says

The rollback journal is used, not a write-ahead log: the folder may be copied, or lie on a stick or a shared drive.
"""

import sqlite3
from contextlib import closing, suppress
from functools import lru_cache
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, NullPool, create_engine, event

from tapscan.errors import RegisterProblem
from tapscan.register.files import PART, flush_folder

DATABASE = "register.sqlite"
WAIT_S = 30.0  # for another process that writes


def revision_of(folder: Path) -> str | None:
    """Revision of the database in `folder`, read without writing; None while it is empty."""
    with closing(_reader(folder)) as connection:
        tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        if not tables:
            return None
        rows = connection.execute("SELECT version_num FROM alembic_version").fetchall() if _ours(tables) else []
    if len(rows) != 1:
        raise RegisterProblem(f"{folder / DATABASE}: is a database, but not a register of tapscan; name another folder")
    return str(rows[0][0])


def _ours(tables: set[str]) -> bool:
    return {"alembic_version", "plate", "scan"} <= tables


def _connect(folder: Path, mode: str) -> sqlite3.Connection:
    """`mode` ro or rw: a database that is not there is never made by looking for it."""
    uri = f"{(folder / DATABASE).as_uri()}?mode={mode}"
    return sqlite3.connect(uri, uri=True, timeout=WAIT_S, isolation_level=None, check_same_thread=False)


def _reader(folder: Path) -> sqlite3.Connection:
    """Without write access, but where a stopped writer left its journal: rolling that back needs it."""
    connection = _connect(folder, "ro")
    try:
        connection.execute("SELECT count(*) FROM sqlite_master")
    except sqlite3.OperationalError as problem:
        connection.close()
        if "readonly" not in str(problem):
            raise
        return _connect(folder, "rw")
    return connection


@lru_cache(maxsize=32)
def engine_of(folder: Path) -> Engine:
    """Nothing is held between transactions; kept for the statements that it has compiled."""
    engine = create_engine("sqlite://", creator=lambda: _connect(folder, "rw"), poolclass=NullPool)

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _: object) -> None:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = EXTRA")  # the journal's removal is flushed too

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def copy_database(folder: Path, target: Path) -> None:
    """Consistent copy, flushed to the disk before it has its name; `target` must not exist."""
    if target.exists():
        raise RegisterProblem(f"{target}: is there already; name another")
    part = target.with_name(target.name + PART)
    try:
        with closing(_reader(folder)) as source, closing(sqlite3.connect(part)) as copy:
            copy.execute("PRAGMA synchronous = FULL")
            source.backup(copy)
        part.rename(target)
    except BaseException:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise
    flush_folder(target.parent)


def damage(connection: Connection) -> list[str]:
    """Sentences; empty when the database is whole."""
    told = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check")]
    orphans = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    lines = [f"database: {line}" for line in told if line != "ok"]
    return lines + [
        f"database: a row of {table} refers to a {parent} that is not there" for table, _, parent, _ in orphans
    ]
