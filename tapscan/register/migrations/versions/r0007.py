"""Visits: one day at one piano, what the eye saw region by region of the plate, with photos."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0005"


def upgrade() -> None:  # noqa: D103
    op.create_table(
        "visit",
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("plate_id", sa.Integer(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("maker", sa.Text(), nullable=True),
        sa.Column("piano_number", sa.Text(), nullable=True),
        sa.Column("place", sa.Text(), nullable=True),
        sa.Column("by_whom", sa.Text(), nullable=True),
        sa.Column("present", sa.Text(), nullable=True),
        sa.Column("state", sa.Text(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=True),
        sa.Column("stored_utc", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("row", name="pk_visit"),
        sa.ForeignKeyConstraint(["plate_id"], ["plate.row"], name="fk_visit_plate_id"),
        sa.UniqueConstraint("plate_id", "date", name="uq_visit_plate_id_date"),
    )
    op.create_table(
        "visit_look",
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("region", sa.String(32), nullable=False),
        sa.Column("answer", sa.String(16), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("signs", sa.JSON(), nullable=True),
        sa.PrimaryKeyConstraint("visit_id", "region", name="pk_visit_look"),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.row"], name="fk_visit_look_visit_id"),
    )
    op.create_table(
        "visit_photo",
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("region", sa.String(32), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("added_utc", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("visit_id", "region", "sha256", name="pk_visit_photo"),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.row"], name="fk_visit_photo_visit_id"),
        sa.ForeignKeyConstraint(["sha256"], ["file.sha256"], name="fk_visit_photo_sha256"),
    )
