"""Scans that are being recorded: what is wanted, and every strike as it is accepted."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:  # noqa: D103
    op.create_table(
        "unfinished",
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("plate_id", sa.Integer(), nullable=False),
        sa.Column("begun_utc", sa.String(length=32), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=True),
        sa.Column("plan", sa.JSON(), nullable=True),
        sa.Column("ended_utc", sa.String(length=32), nullable=True),
        sa.Column("ended_how", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["plate_id"], ["plate.row"], name=op.f("fk_unfinished_plate_id")),
        sa.PrimaryKeyConstraint("row", name=op.f("pk_unfinished")),
    )
    op.create_table(
        "taken_strike",
        sa.Column("unfinished_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("force", sa.String(length=8), nullable=True),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("level_db", sa.Float(), nullable=False),
        sa.Column("snr_db", sa.Float(), nullable=True),
        sa.Column("blocks_lost", sa.Integer(), nullable=False),
        sa.Column("taken_utc", sa.String(length=32), nullable=False),
        sa.Column("undone_utc", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(["sha256"], ["file.sha256"], name=op.f("fk_taken_strike_sha256")),
        sa.ForeignKeyConstraint(["unfinished_id"], ["unfinished.row"], name=op.f("fk_taken_strike_unfinished_id")),
        sa.PrimaryKeyConstraint("unfinished_id", "position", name=op.f("pk_taken_strike")),
    )
