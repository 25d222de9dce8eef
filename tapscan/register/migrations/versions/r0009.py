"""For several benches: facts of the register itself, and a key by which a strike that is sent twice is stored once."""

import uuid

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:  # noqa: D103
    op.create_table(
        "setting",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_setting"),
    )
    setting = sa.table("setting", sa.column("name"), sa.column("value"))
    op.execute(setting.insert().values(name="identity", value=uuid.uuid4().hex))
    op.add_column("taken_strike", sa.Column("key", sa.Text(), nullable=True))
    op.create_index("ix_taken_strike_key", "taken_strike", ["key"], unique=True)
    strike = sa.table(
        "taken_strike", sa.column("unfinished_id", sa.Integer), sa.column("position", sa.Integer), sa.column("key")
    )
    number, position = (sa.cast(c, sa.Text) for c in (strike.c.unfinished_id, strike.c.position))
    op.execute(strike.update().values(key=number + "-" + position))
    if op.get_bind().dialect.name == "postgresql":  # names in one order, whatever the server's language is
        for table in ("plate", "reference_set"):
            op.execute(f'ALTER TABLE {table} ALTER COLUMN name_key TYPE text COLLATE "C"')
