"""What is the same for all registers of the tests is worked out once in a process: their statements, and the tables of an empty one.

made_alike    a fixture of all tests
"""

import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import Connection, Engine, create_engine

from tapscan.register import database, setting, sqlite_side

COMPILED: dict[Any, Any] = {}
FIRST: list[Engine] = []
EMPTY: dict[str, list[str]] = {}  # by revision: the SQL of all that an empty register holds
BY_MIGRATIONS = database.take_step


def engine_alike(*args: Any, **more: Any) -> Engine:
    """Compiled statements are found again by their dialect: every engine takes the first one's."""
    engine = create_engine(*args, **more)
    if not FIRST:
        FIRST.append(engine)
    engine.dialect = FIRST[0].dialect
    engine.update_execution_options(compiled_cache=COMPILED)
    return engine


def step_taken(connection: Connection, step: str) -> None:
    """The migrations make the first empty register of SQLite; what they left makes the others. All else they do themselves."""
    if connection.dialect.name != "sqlite" or step != database.REVISION or schema(connection):
        BY_MIGRATIONS(connection, step)
    elif step in EMPTY:
        for line in [*EMPTY[step], *_rows(step)]:
            connection.exec_driver_sql(line)
    else:
        BY_MIGRATIONS(connection, step)
        EMPTY[step] = schema(connection)
        assert set(rows(connection)) == {("alembic_version", step), ("setting", setting.IDENTITY)}


def _rows(step: str) -> list[str]:
    return [
        f"INSERT INTO alembic_version (version_num) VALUES ('{step}')",
        f"INSERT INTO setting (name, value) VALUES ('{setting.IDENTITY}', '{uuid.uuid4().hex}')",
    ]


def schema(connection: Connection) -> list[str]:
    """In the order in which it was made."""
    found = connection.exec_driver_sql("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY rowid")
    return list(found.scalars())


def rows(connection: Connection) -> list[tuple[str, str]]:
    """Table and first column of all that is stored."""
    tables = connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'table'").scalars().all()
    return [(name, row[0]) for name in tables for row in connection.exec_driver_sql(f'SELECT * FROM "{name}"')]


@pytest.fixture(autouse=True, scope="session")
def made_alike() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sqlite_side, "create_engine", engine_alike)
        patch.setattr(database, "take_step", step_taken)
        yield
