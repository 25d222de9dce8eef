"""The tables of visits. They change only together with a new step in migrations/versions."""

from sqlalchemy import Column, Date, ForeignKey, Integer, String, Table, Text, UniqueConstraint

from tapscan.register.table_parts import json_column, metadata

visit = Table(
    "visit",  # one day at one piano: what the eye saw, region by region
    metadata,
    Column("row", Integer, primary_key=True),
    Column("plate_id", ForeignKey("plate.row"), nullable=False),
    Column("date", Date, nullable=False),
    Column("maker", Text),
    Column("piano_number", Text),
    Column("place", Text),
    Column("by_whom", Text),
    Column("present", Text),
    Column("state", Text),
    Column("notes", Text),
    Column("stored_utc", String(32), nullable=False),
    json_column("taken_back"),  # TakenBack after TakenBack
    UniqueConstraint("plate_id", "date"),
)
visit_look = Table(
    "visit_look",
    metadata,
    Column("visit_id", ForeignKey("visit.row"), primary_key=True),
    Column("region", String(32), primary_key=True),
    Column("answer", String(16), nullable=False),
    Column("note", Text),
    json_column("signs"),
)
visit_photo = Table(
    "visit_photo",
    metadata,
    Column("visit_id", ForeignKey("visit.row"), primary_key=True),
    Column("region", String(32), primary_key=True),
    Column("sha256", ForeignKey("file.sha256"), primary_key=True),
    Column("name", Text, nullable=False),
    Column("added_utc", String(32), nullable=False),
)
visit_outcome = Table(
    "visit_outcome",  # what an examination found of what was seen; rows are only added
    metadata,
    Column("row", Integer, primary_key=True),
    Column("visit_id", ForeignKey("visit.row"), nullable=False, index=True),
    Column("region", String(32), nullable=False),
    Column("found", Text, nullable=False),
    Column("method", Text, nullable=False),
    Column("by_whom", Text, nullable=False),
    Column("on", Date, nullable=False),
    Column("note", Text),
    Column("entered_utc", String(32), nullable=False),
)
