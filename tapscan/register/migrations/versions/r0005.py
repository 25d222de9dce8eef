"""Plates of one pattern as references: sets from elsewhere, and this register's own modes packed for a search."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:  # noqa: D103
    op.create_table(
        "reference_set",
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("pattern", sa.Text(), nullable=False),
        sa.Column("owner", sa.Text(), nullable=True),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("imported_utc", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("row", name="pk_reference_set"),
        sa.UniqueConstraint("name_key", name="uq_reference_set_name_key"),
        sa.UniqueConstraint("sha256", name="uq_reference_set_sha256"),
    )
    op.create_table(
        "reference",
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("set_id", sa.Integer(), nullable=True),
        sa.Column("screening_id", sa.Integer(), nullable=True),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=True),
        sa.Column("arrays", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["set_id"], ["reference_set.row"], name="fk_reference_set_id"),
        sa.ForeignKeyConstraint(["screening_id"], ["screening.row"], name="fk_reference_screening_id"),
        sa.PrimaryKeyConstraint("row", name="pk_reference"),
        sa.UniqueConstraint("screening_id", name="uq_reference_screening_id"),
    )
    op.create_index("ix_reference_set_id", "reference", ["set_id"])
