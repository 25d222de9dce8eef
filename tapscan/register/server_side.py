"""PostgreSQL, shared by several benches: all that another database does differently.

engine_of(server)                 connections that write in one transaction, one writer at a time
revision_of(connection)           None while the database is empty
number_on(connection, tables)     rows that come next are numbered after those that were copied in; nothing elsewhere
damage(connection)                empty: a server looks after its own pages

A write takes one lock of the whole register first, as SQLite does: what is looked up inside it cannot change before it is stored. A write lasts
some ten milliseconds, so five benches do not notice each other. A read sees one state of the register and cannot write.
"""

from collections.abc import Sequence

from sqlalchemy import Connection, Engine, Table, create_engine, event, func, inspect, make_url, select
from sqlalchemy.exc import NoSuchModuleError

from tapscan.errors import MissingExtra, RegisterProblem
from tapscan.register.address import Server

DRIVER = "postgresql+psycopg"
LOCK = 0x746170736361  # "tapsca"
WAIT_S = 30  # for another bench that writes
CONNECT_S = 5
SESSION = {
    "lock_timeout": f"{WAIT_S}s",
    "tcp_keepalives_idle": "10",  # a bench that lost its power lets go of the lock within half a minute
    "tcp_keepalives_interval": "5",
    "tcp_keepalives_count": "3",
}


def engine_of(server: Server) -> Engine:
    """A few connections are kept open; one that was lost is made anew when the next is asked for."""
    try:
        engine = create_engine(
            make_url(server.url).set(drivername=DRIVER),
            connect_args={
                "connect_timeout": CONNECT_S,
                "tcp_user_timeout": 1000 * 2 * CONNECT_S,
                "application_name": "tapscan",
                "options": " ".join(f"-c {name}={value}" for name, value in SESSION.items()),
            },
            pool_size=2,
            pool_pre_ping=True,
            hide_parameters=True,
        )
    except (ImportError, NoSuchModuleError):
        raise MissingExtra("a register on a server needs psycopg: pip install 'tapscan[server]'") from None

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        if connection.get_execution_options().get("writes"):
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({LOCK})")
        else:
            connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")

    return engine


def revision_of(connection: Connection) -> str | None:
    """Raises RegisterProblem for a database that holds something else."""
    tables = set(inspect(connection).get_table_names())
    if not tables:
        return None
    ours = {"alembic_version", "plate", "scan"} <= tables
    rows = connection.exec_driver_sql("SELECT version_num FROM alembic_version").fetchall() if ours else []
    if len(rows) != 1:
        raise RegisterProblem("the database holds other tables, and no register of tapscan; name an empty one")
    return str(rows[0][0])


def number_on(connection: Connection, tables: Sequence[Table]) -> None:
    """SQLite does so by itself."""
    if connection.dialect.name != "postgresql":
        return
    for table in tables:
        if "row" in table.c and (last := connection.execute(select(func.max(table.c.row))).scalar()):
            sequence = func.pg_get_serial_sequence(f'"{table.name}"', "row")
            connection.execute(select(func.setval(sequence, last)))


def damage(_: Connection) -> list[str]:
    """References are checked as rows are written, and pages by the server itself."""
    return []
