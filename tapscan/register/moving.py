"""A register copied from a folder to a server, or back: whole, or not at all.

move_register(source, target, files_url)    Moved; the source is only read

The target says of itself that it is unfinished until every file has been read back and held against its hash, and every table has been read back and
held against what was read from the source, by count and by content. All rows come in one transaction, together with the word that it is ready. Whatever
stops it before leaves an unfinished target, which no command opens; the same command begins it anew.
"""

import hashlib
import json
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from msgspec import Struct
from sqlalchemy import Connection, Table, insert, select

from tapscan.errors import BadRequest, DamagedFile, RegisterProblem
from tapscan.register import server_side, setting, sqlite_side
from tapscan.register import tables as t
from tapscan.register.address import Place, Server
from tapscan.register.beside import take_along
from tapscan.register.database import DATABASE, Register, make_register, make_tables
from tapscan.register.file_store import FolderFiles, files_at
from tapscan.register.trouble import plain_words
from tapscan.register.whole_folder import whole_folder

Progress = Callable[[str, int, int], None]
BATCH = 500


class Moved(Struct, frozen=True):
    """What was copied."""

    place: Place
    plates: int
    scans: int
    files: int
    missing: tuple[str, ...]  # damaged or gone before, and left so


def move_register(
    source: Register, target: Place, files_url: str | None, progress: Progress, *, leave_missing: bool = False
) -> Moved:
    """`files_url` : where recordings go, of a server. Raises BadRequest where a register is there, RegisterProblem for a file that is missing."""
    if isinstance(target, Server):
        into = _server_target(source, target, setting.files_wanted(files_url))
        return _filled(source, into, target, progress, leave_missing)
    target = target.absolute()
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise BadRequest(f"{target}: is there already and not empty, and nothing is overwritten; name a new folder")
    if target.is_relative_to(source.folder):
        raise BadRequest(f"{target}: lies inside the register; name a folder elsewhere")
    with plain_words(target), whole_folder(target) as part:
        into = make_register(part)
        with into.writing() as connection:
            setting.write(connection, setting.UNFINISHED, source.told)
        return _filled(source, into, target, progress, leave_missing)


def _server_target(source: Register, server: Server, files_url: str) -> Register:
    engine = server_side.engine_of(server)
    make_tables(server, engine, files_url, source.told)
    server.folder.mkdir(parents=True, exist_ok=True)
    into = Register(server.folder, engine, files_at(files_url, server.folder), server)
    with into.writing() as connection:
        if setting.read(connection, setting.UNFINISHED) is None:
            raise BadRequest(
                f"{server.shown}: holds a register already, and nothing is overwritten; name an empty database"
            )
        setting.write(connection, setting.UNFINISHED, source.told)
        setting.write(connection, setting.FILES, files_url)
    return into


def _filled(source: Register, into: Register, target: Place, progress: Progress, leave_missing: bool) -> Moved:
    take_along(
        source.folder, into.folder
    )  # first: a draft that is stored meanwhile is rather there twice than not at all
    with _snapshot(source) as before:
        files = {row.sha256: row.size_bytes for row in before.execute(select(t.file).order_by(t.file.c.sha256))}
        missing = _copy_files(source, into, files, progress, leave_missing)
        with into.writing() as connection:
            counts = _copy_rows(before, connection, progress)
            setting.write(connection, setting.IDENTITY, setting.read(before, setting.IDENTITY))
            setting.write(connection, setting.UNFINISHED, None)
    return Moved(target, counts["plate"], counts["scan"], len(files) - len(missing), tuple(missing))


@contextmanager
def _snapshot(source: Register) -> Iterator[Connection]:
    """One state of it, while others go on; a folder's database is copied first, since a long read would hold up its writers."""
    if isinstance(source.place, Server):
        with source.reading() as connection:
            yield connection
        return
    with tempfile.TemporaryDirectory(prefix="tapscan-move-") as folder:
        sqlite_side.copy_database(source.folder, Path(folder) / DATABASE)
        with plain_words(Path(folder)), sqlite_side.engine_of(Path(folder)).begin() as connection:
            yield connection


def _copy_files(
    source: Register, into: Register, files: dict[str, int], progress: Progress, leave_missing: bool
) -> list[str]:
    """What is missing; each other one is read back."""
    missing = []
    for i, (sha256, size) in enumerate(files.items()):
        progress("copying files", i, len(files))
        try:
            path = source.files.path_of(sha256)
            said = (
                source.files.wrong(sha256, size) if isinstance(source.files, FolderFiles) or not path.exists() else None
            )
        except DamagedFile as problem:
            said = str(problem)
        if said:
            missing.append(said)
            continue
        if into.files.wrong(sha256, size):
            into.files.keep_file(path, sha256)
            if trouble := into.files.wrong(sha256, size):
                raise RegisterProblem(
                    f"{trouble} while it was copied; nothing was moved: see to the disk and do it again"
                )
    progress("copying files", len(files), len(files))
    if missing and not leave_missing:
        more = f" and {len(missing) - 1} more" if len(missing) > 1 else ""
        raise RegisterProblem(
            f"{missing[0]}{more}; nothing was moved: put the files back from a backup, or move without them (--leave-missing)"
        )
    return missing


def _copy_rows(before: Connection, after: Connection, progress: Progress) -> dict[str, int]:
    """Rows a table. Raises RegisterProblem, and so takes all back, where what arrived is not what was sent."""
    counts, tables = {}, [table for table in t.metadata.sorted_tables if table is not t.setting]
    for i, table in enumerate(tables):
        progress("copying entries", i, len(tables))
        sent = hashlib.sha256()
        count = 0
        for rows in _batches(before, table):
            after.execute(insert(table), rows)
            count += len(rows)
            _add(sent, rows)
        arrived, there = hashlib.sha256(), 0
        for rows in _batches(after, table):
            there += len(rows)
            _add(arrived, rows)
        if (count, sent.digest()) != (there, arrived.digest()):
            raise RegisterProblem(f"table {table.name}: {there} of {count} rows arrived unchanged; nothing was moved")
        counts[table.name] = count
    server_side.number_on(after, tables)
    progress("copying entries", len(tables), len(tables))
    return counts


def _batches(connection: Connection, table: Table) -> Iterator[list[dict[str, Any]]]:
    query = select(table).order_by(*table.primary_key.columns)
    for rows in connection.execute(query, execution_options={"yield_per": BATCH}).partitions():
        yield [dict(row._mapping) for row in rows]


def _add(digest: Any, rows: list[dict[str, Any]]) -> None:
    for row in rows:
        digest.update(json.dumps(row, sort_keys=True, default=_as_text).encode())


def _as_text(value: Any) -> str:
    return value.hex() if isinstance(value, bytes) else str(value)
