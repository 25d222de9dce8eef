"""The shop's reference bars with the recordings that belong to a scan, and a second reading of the iron's temperature."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:  # noqa: D103
    op.add_column("scan", sa.Column("iron_end_c", sa.Float(), nullable=True))
    op.create_table(
        "bar",
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("added_utc", sa.String(32), nullable=False),
        sa.Column("first_scan", sa.Text(), nullable=True),
        sa.Column("first", sa.JSON(), nullable=True),
        sa.PrimaryKeyConstraint("row", name="pk_bar"),
        sa.UniqueConstraint("name_key", name="uq_bar_name_key"),
    )
    op.create_table(
        "scan_bar",
        sa.Column("scan_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("bar_id", sa.Integer(), nullable=False),
        sa.Column("last", sa.Boolean(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["scan_id"], ["scan.row"], name="fk_scan_bar_scan_id"),
        sa.ForeignKeyConstraint(["bar_id"], ["bar.row"], name="fk_scan_bar_bar_id"),
        sa.ForeignKeyConstraint(["sha256"], ["file.sha256"], name="fk_scan_bar_sha256"),
        sa.PrimaryKeyConstraint("scan_id", "position", name="pk_scan_bar"),
    )
