"""A scan may be crossed out, moved to another plate, or be a baseline although something speaks against it."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:  # noqa: D103
    op.add_column("scan", sa.Column("void_on", sa.Date(), nullable=True))
    op.add_column("scan", sa.Column("void_why", sa.Text(), nullable=True))
    op.add_column("scan", sa.Column("baseline_although", sa.Text(), nullable=True))
    op.add_column("scan", sa.Column("moves", sa.JSON(), nullable=True))
