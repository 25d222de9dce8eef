"""Steps that bring an older register up to date; loaded only when there is one, since Alembic is slow to import.

steps_from(revision)        revisions still to come, oldest first; None when `revision` is not known here
migrate(connection, step)   that step and all before it that are still to come, with their record, inside the caller's transaction
"""

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from alembic.script.revision import ResolutionError
from alembic.util import CommandError
from sqlalchemy import Connection

LOCATION = "tapscan.register:migrations"


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", LOCATION)
    return config


def steps_from(revision: str | None) -> list[str] | None:
    """Revisions after `revision`; None: from nothing."""
    script = ScriptDirectory.from_config(_config())
    try:
        steps = [step.revision for step in script.iterate_revisions("head", revision or "base")]
    except (CommandError, ResolutionError):
        return None
    return steps[::-1]


def migrate(connection: Connection, step: str) -> None:
    """Nothing happens where another process has taken the step in the meantime."""
    config = _config()
    config.attributes["connection"] = connection
    command.upgrade(config, step)
