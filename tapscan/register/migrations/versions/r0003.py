"""A sensor has a kind (contact or microphone), a note and a mass; the kind of earlier scans is read from their words.

The words stay as the note. What they do not say for certain stays unknown. This is the only place that reads such words.
"""

import re

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

NO_CONTACT = re.compile(r"\b(?:no|non|not|without)[\s-]+(?:(?:in|any|direct)\s+)*contact\b|\bcontactless\b")
CONTACT_MICROPHONE = re.compile(r"\bcontact[\s-]+mi(?:c|ke|crophone)s?\b")
CONTACT = re.compile(r"\b(?:contact|pick[\s-]?ups?|accelerometers?|piezo\w*)\b")
MICROPHONE = re.compile(r"\b(?:mi(?:c|ke|crophone)s?|(?:smart|cell)?phones?|recorder)\b")


def kind_by_words(words: str | None) -> str | None:
    """None where the words do not say it."""
    text = (words or "").casefold()
    without = NO_CONTACT.sub(" ", text)
    if CONTACT_MICROPHONE.search(without):
        return "contact"
    contact, microphone = bool(CONTACT.search(without)), bool(MICROPHONE.search(without))
    if contact == microphone:
        return None
    return "contact" if contact and without == text else "microphone" if microphone else None


def upgrade() -> None:  # noqa: D103
    op.execute("ALTER TABLE scan RENAME COLUMN sensor TO sensor_note")
    op.add_column("scan", sa.Column("sensor_kind", sa.Text(), nullable=True))
    op.add_column("scan", sa.Column("sensor_mass_g", sa.Float(), nullable=True))
    _scans()
    _unfinished()


def _scans() -> None:
    scan = sa.table("scan", sa.column("row"), sa.column("sensor_note"), sa.column("sensor_kind"))
    connection = op.get_bind()
    for row, note in connection.execute(sa.select(scan.c.row, scan.c.sensor_note)).fetchall():
        if kind := kind_by_words(note):
            connection.execute(scan.update().where(scan.c.row == row).values(sensor_kind=kind))


def _unfinished() -> None:
    """Scans that were stopped half way hold their conditions as JSON."""
    unfinished = sa.table("unfinished", sa.column("row"), sa.column("facts", sa.JSON()))
    connection = op.get_bind()
    for row, facts in connection.execute(sa.select(unfinished.c.row, unfinished.c.facts)).fetchall():
        conditions = dict((facts or {}).get("conditions") or {})
        if not conditions:
            continue
        note, place = conditions.pop("sensor", None), conditions.pop("sensor_place", None)
        conditions["sensor"] = {"kind": kind_by_words(note), "note": note, "mass_g": None, "place": place}
        values = {"facts": {**facts, "conditions": conditions}}
        connection.execute(unfinished.update().where(unfinished.c.row == row).values(**values))
