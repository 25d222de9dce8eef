"""What was noted by the eye by mistake and taken back, with the reason, of scans and of visits."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"


def upgrade() -> None:  # noqa: D103
    op.add_column("scan", sa.Column("taken_back", sa.JSON(), nullable=True))
    op.add_column("visit", sa.Column("taken_back", sa.JSON(), nullable=True))
