"""Opens, makes and migrates a register, in a folder or on a server; what the two do differently is in sqlite_side and server_side.

    open_register(place)          Register; an older one is brought up to date first, a newer one is refused untouched
    make_register(place)          the same, and makes one where there is none
    is_register(place)            whether one is there; of a server only opening it tells
    Register.reading(), .writing()    connections; a write is one transaction, and one writer at a time
    damage(register, connection)  what the database's own check says

A folder's register is copied before each step that brings it up to date; on a server a step is one transaction, and `pg_dump` makes copies.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from msgspec import Struct
from sqlalchemy import Connection, Engine

from tapscan.errors import RegisterProblem
from tapscan.register import server_side, setting, sqlite_side
from tapscan.register.address import Place, Server, place_told
from tapscan.register.file_store import Files, FolderFiles, files_at, make_files_at
from tapscan.register.files import BACKUPS, FILES, flush_folder
from tapscan.register.sqlite_side import DATABASE, copy_database, revision_of
from tapscan.register.trouble import plain_words

__all__ = ["BACKUPS", "DATABASE", "REVISION", "Register", "copy_database", "revision_of"]
REVISION = "0011"  # the newest step in migrations/versions
OWNER = "as the account that owns the database: `tapscan register check --register ADDRESS`"


class Register(Struct, frozen=True, eq=False):
    """An open register. No transaction is held between calls, so any number of processes may use one place."""

    folder: Path  # the register's; of one on a server: this bench's own folder
    engine: Engine
    files: Files
    place: Place
    identity: str | None = None  # of the register itself; told where it lies on a server

    @property
    def told(self) -> str:
        """Where it lies, for a person."""
        return place_told(self.place)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection that sees one state of the register."""
        with plain_words(self.place), self.engine.begin() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """All that is done inside is stored together, or not at all."""
        with plain_words(self.place), self.engine.execution_options(writes=True).begin() as connection:
            yield connection


def utc_now() -> str:
    """ISO 8601, to the second."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def is_register(place: Place) -> bool:
    """Whether a database lies there."""
    return isinstance(place, Server) or (place / DATABASE).is_file()


def open_register(place: Place) -> Register:
    """Raises RegisterProblem: none there, damaged, out of reach, not complete, or made by a newer tapscan."""
    if isinstance(place, Server):
        return _open_server(place)
    folder = place.absolute()
    if not (folder / DATABASE).is_file():
        raise RegisterProblem(
            f"{folder}: there is no register here; `tapscan plate add NAME` makes one, or name its folder with --register"
        )
    with plain_words(folder):
        _bring_folder_up_to_date(folder)
    register = Register(folder, sqlite_side.engine_of(folder), FolderFiles(folder), folder)
    return _complete(register)


def make_register(place: Place) -> Register:
    """Open the register at `place`; make an empty one where there is none."""
    if isinstance(place, Server):
        return _make_server(place)
    folder = place.absolute()
    with plain_words(folder):
        (folder / FILES).mkdir(parents=True, exist_ok=True)
        (folder / BACKUPS).mkdir(exist_ok=True)
        if not (folder / DATABASE).exists():
            (folder / DATABASE).touch()
            flush_folder(folder)
    return open_register(folder)


def _complete(register: Register) -> Register:
    with register.reading() as connection:
        from_where = setting.read(connection, setting.UNFINISHED)
    if from_where is not None:
        raise RegisterProblem(
            f"{register.told}: a move into it from {from_where} did not finish, so it may lack something; "
            "the register it came from is untouched: do `tapscan register move` again"
        )
    return register


def _bring_folder_up_to_date(folder: Path) -> None:
    revision = revision_of(folder)
    steps = steps_to_come(folder, revision)
    for step in steps if revision is not None else steps[-1:]:  # an empty one is made at once: there is nothing to copy
        if revision is not None:
            (folder / BACKUPS).mkdir(exist_ok=True)
            stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
            copy_database(folder, folder / BACKUPS / f"before-{step}-{stamp}.sqlite")
        with sqlite_side.engine_of(folder).execution_options(writes=True).begin() as connection:
            take_step(connection, step)


def steps_to_come(place: Place, revision: str | None) -> list[str]:
    """Oldest first. Raises RegisterProblem for a register that this program does not know."""
    if revision == REVISION:
        return []
    from tapscan.register.migrating import steps_from

    steps = steps_from(revision)
    if steps is None:
        raise RegisterProblem(
            f"{place_told(place)}: this register was made by a newer tapscan (its version is {revision}, this program knows "
            f"up to {REVISION}); nothing was touched: update tapscan"
        )
    return steps


def take_step(connection: Connection, step: str) -> None:
    """With all before it that were not taken yet, inside the caller's transaction."""
    from tapscan.register.migrating import migrate

    migrate(connection, step)


def _open_server(server: Server) -> Register:
    engine = server_side.engine_of(server)
    with plain_words(server):
        with engine.begin() as connection:
            revision = server_side.revision_of(connection)
        if revision is None:
            raise RegisterProblem(
                f"{server.shown}: this database holds no register yet; `tapscan register move` puts one there, "
                "and `tapscan plate add NAME` begins an empty one"
            )
        _bring_server_up_to_date(server, engine, revision)
        with engine.begin() as connection:
            url, identity = setting.files_url(connection), setting.read(connection, setting.IDENTITY)
        server.folder.mkdir(parents=True, exist_ok=True)
    return _complete(Register(server.folder, engine, files_at(url, server.folder), server, identity))


def _bring_server_up_to_date(server: Server, engine: Engine, revision: str) -> None:
    """All steps in one transaction; a bench has no right to change tables."""
    steps = steps_to_come(server, revision)
    if not steps:
        return
    try:
        with plain_words(server), engine.execution_options(writes=True).begin() as connection:
            take_step(connection, steps[-1])
    except RegisterProblem as problem:
        raise RegisterProblem(
            f"{problem}; this register is of an older tapscan, and is brought up to date {OWNER}"
        ) from None


def make_tables(server: Server, engine: Engine, url: str, unfinished: str | None = None) -> None:
    """In one transaction: an empty database becomes a register, or stays as it is. `unfinished` : where a move into it comes from."""
    make_files_at(url)
    with plain_words(server), engine.execution_options(writes=True).begin() as connection:
        if server_side.revision_of(connection) is not None:
            return
        encoding = connection.exec_driver_sql("SHOW server_encoding").scalar_one()
        if encoding != "UTF8":
            raise RegisterProblem(
                f"{server.shown}: the database keeps text as {encoding}; make it with --encoding=UTF8"
            )
        take_step(connection, steps_to_come(server, None)[-1])
        setting.write(connection, setting.FILES, url)
        if unfinished is not None:
            setting.write(connection, setting.UNFINISHED, unfinished)


def _make_server(server: Server) -> Register:
    engine = server_side.engine_of(server)
    with plain_words(server), engine.begin() as connection:
        there = server_side.revision_of(connection) is not None
    if not there:
        make_tables(server, engine, setting.files_wanted(None))
    engine.dispose()
    return open_register(server)


def damage(register: Register, connection: Connection) -> list[str]:
    """Sentences; empty when the database is whole."""
    side = server_side if isinstance(register.place, Server) else sqlite_side
    return side.damage(connection)
