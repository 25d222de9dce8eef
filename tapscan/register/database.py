"""Opens, makes and migrates a register; the only module that knows SQLite.

    open_register(folder)         Register; an older one is brought up to date first, a newer one is refused untouched
    make_register(folder)         the same, and makes one where there is none
    Register.reading(), .writing()    connections; a write is one transaction, and one writer at a time
    copy_database(folder, target)     a consistent copy while others read and write
    damage(register)              what SQLite's own check says

A register of a newer version is told by its revision, which is read without write access. The rollback journal is
used, not a write-ahead log: the folder may be copied, or lie on a stick or a shared drive.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, NullPool, create_engine, event

from tapscan.errors import RegisterProblem
from tapscan.register.files import FILES, flush_folder
from tapscan.register.trouble import plain_words

DATABASE = "register.sqlite"
BACKUPS = "backups"
REVISION = "0007"  # the newest step in migrations/versions
WAIT_S = 30.0  # for another process that writes


@dataclass(frozen=True, eq=False)
class Register:
    """An open register. Nothing is held between calls, so any number of processes may use one folder."""

    folder: Path
    engine: Engine

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection that sees one state of the register."""
        with plain_words(self.folder), self.engine.begin() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """All that is done inside is stored together, or not at all."""
        engine = self.engine.execution_options(begin="BEGIN IMMEDIATE")
        with plain_words(self.folder), engine.begin() as connection:
            yield connection


def utc_now() -> str:
    """ISO 8601, to the second."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def is_register(folder: Path) -> bool:
    """Whether a database lies there."""
    return (folder / DATABASE).is_file()


def open_register(folder: Path) -> Register:
    """Raises RegisterProblem: none there, damaged, or made by a newer tapscan."""
    folder = folder.absolute()
    if not (folder / DATABASE).is_file():
        raise RegisterProblem(
            f"{folder}: there is no register here; `tapscan plate add NAME` makes one, or name its folder with --register"
        )
    with plain_words(folder):
        _bring_up_to_date(folder)
    return Register(folder, _engine(folder))


def make_register(folder: Path) -> Register:
    """Open the register in `folder`; make the folder and an empty register where there is none."""
    folder = folder.absolute()
    with plain_words(folder):
        (folder / FILES).mkdir(parents=True, exist_ok=True)
        (folder / BACKUPS).mkdir(exist_ok=True)
        if not (folder / DATABASE).exists():
            (folder / DATABASE).touch()
            flush_folder(folder)
    return open_register(folder)


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


def _bring_up_to_date(folder: Path) -> None:
    revision = revision_of(folder)
    if revision == REVISION:
        return
    from tapscan.register.migrating import migrate, steps_from

    steps = steps_from(revision)
    if steps is None:
        raise RegisterProblem(
            f"{folder}: this register was made by a newer tapscan (its version is {revision}, this program knows "
            f"up to {REVISION}); nothing was touched: update tapscan"
        )
    empty = revision is None
    for step in steps:
        if not empty:
            (folder / BACKUPS).mkdir(exist_ok=True)
            stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
            copy_database(folder, folder / BACKUPS / f"before-{step}-{stamp}.sqlite")
        with _engine(folder).execution_options(begin="BEGIN IMMEDIATE").begin() as connection:
            migrate(connection, step)


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


def _engine(folder: Path) -> Engine:
    engine = create_engine("sqlite://", creator=lambda: _connect(folder, "rw"), poolclass=NullPool)

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _: object) -> None:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = EXTRA")  # the journal's removal is flushed too

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql(connection.get_execution_options().get("begin", "BEGIN"))

    return engine


def copy_database(folder: Path, target: Path) -> None:
    """Consistent copy, flushed to the disk; `target` must not exist."""
    if target.exists():
        raise RegisterProblem(f"{target}: is there already; name another")
    with closing(_reader(folder)) as source, closing(sqlite3.connect(target)) as copy:
        copy.execute("PRAGMA synchronous = FULL")
        source.backup(copy)
    flush_folder(target.parent)


def damage(register: Register) -> list[str]:
    """Sentences; empty when the database is whole."""
    with register.reading() as connection:
        told = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check")]
        orphans = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    lines = [f"database: {line}" for line in told if line != "ok"]
    return lines + [
        f"database: a row of {table} refers to a {parent} that is not there" for table, _, parent, _ in orphans
    ]
