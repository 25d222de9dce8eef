r"""Accounts on a server: what a bench may do, and what a reader may.

accounts_sql(bench, reader)    SQL for psql, run by the account that owns the register's tables

Passwords are set in psql (`\password bench`) and never pass through tapscan. A bench may not change tables: a register is brought up to date by its
owner, when all benches have the new version.
"""

import re

from tapscan.errors import BadRequest

NAME = re.compile(r"[a-z_][a-z0-9_]{0,62}")
SQL = """\
-- Run by the account that owns the register's tables. Passwords: \\password {bench} and \\password {reader} in psql.
DO $$ BEGIN
  IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = '{bench}') THEN CREATE ROLE {bench} LOGIN; END IF;
  IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = '{reader}') THEN CREATE ROLE {reader} LOGIN; END IF;
END $$;
GRANT USAGE ON SCHEMA public TO {bench}, {reader};
GRANT SELECT ON ALL TABLES IN SCHEMA public TO {bench}, {reader};
GRANT INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {bench};
GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {bench};
REVOKE INSERT, UPDATE, DELETE ON alembic_version, setting FROM {bench};
ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT ON TABLES TO {bench}, {reader};
ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT INSERT, UPDATE, DELETE ON TABLES TO {bench};
ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT USAGE, SELECT ON SEQUENCES TO {bench};"""


def accounts_sql(bench: str, reader: str) -> str:
    """Raises BadRequest for a name that would need quoting."""
    for name in (bench, reader):
        if not NAME.fullmatch(name):
            raise BadRequest(f"{name!r}: an account is called by small letters, digits and _, for example bench_1")
    return SQL.format(bench=bench, reader=reader)
