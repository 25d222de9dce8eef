"""What an examination found of what the eye had seen on a visit."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:  # noqa: D103
    op.create_table(
        "visit_outcome",
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("region", sa.String(length=32), nullable=False),
        sa.Column("found", sa.Text(), nullable=False),
        sa.Column("method", sa.Text(), nullable=False),
        sa.Column("by_whom", sa.Text(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("entered_utc", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.row"], name=op.f("fk_visit_outcome_visit_id_visit")),
        sa.PrimaryKeyConstraint("row", name=op.f("pk_visit_outcome")),
    )
    op.create_index(op.f("ix_visit_outcome_visit_id"), "visit_outcome", ["visit_id"], unique=False)
