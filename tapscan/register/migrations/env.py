"""Runs steps on the connection it is given, inside that connection's own transaction."""

from alembic import context

from tapscan.register.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
)
context.run_migrations()
