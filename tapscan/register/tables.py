"""The tables of a register. They change only together with a new step in migrations/versions.

A column named like a field of a record in records/ holds that field; fields without a column of their own travel in
`more`, so that a record may grow without a migration. `more` and lists are JSON. A row of results is known by its
screening and its position. Times are UTC as ISO 8601 text.
"""

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Date,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from tapscan.register.table_parts import json_column as _json
from tapscan.register.table_parts import metadata
from tapscan.register.table_parts import row_of as _row_of
from tapscan.register.visit_tables import visit, visit_look, visit_outcome, visit_photo

__all__ = ["metadata", "visit", "visit_look", "visit_outcome", "visit_photo"]

plate = Table(
    "plate",
    metadata,
    Column("row", Integer, primary_key=True),
    Column("name", Text, nullable=False),
    Column("name_key", Text, nullable=False, unique=True),
    Column("pattern", Text),
    Column("serial", Text),
    Column("kind", Text),
    Column("mass_kg", Float),
    Column("notes", Text),
    Column("added_utc", String(32), nullable=False),
    Column("retired_on", Date),
    Column("retired_why", Text),
)
file = Table(
    "file",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("size_bytes", BigInteger, nullable=False),
    Column("stored_utc", String(32), nullable=False),
)
photo = Table(
    "photo",
    metadata,
    Column("plate_id", ForeignKey("plate.row"), primary_key=True),
    Column("sha256", ForeignKey("file.sha256"), primary_key=True),
    Column("name", Text, nullable=False),
    Column("added_utc", String(32), nullable=False),
)
scan = Table(
    "scan",
    metadata,
    Column("row", Integer, primary_key=True),
    Column("plate_id", ForeignKey("plate.row"), nullable=False),
    Column("date", Date, nullable=False),
    Column("number", Integer, nullable=False),
    Column("baseline", Boolean(create_constraint=False), nullable=False),
    Column("operator", Text),
    Column("notes", Text),
    Column("stored_utc", String(32), nullable=False),
    # ScanConditions
    Column("state", Text),
    Column("supports", Text),
    Column("air_c", Float),
    Column("iron_c", Float),
    Column("iron_end_c", Float),
    Column("hours_in_room", Float),
    Column("sensor_kind", Text),  # Sensor
    Column("sensor_note", Text),
    Column("sensor_mass_g", Float),
    Column("sensor_place", Text),
    Column("hammer", Text),
    _json("fittings"),
    _json("more"),
    _json("reading"),
    Column("void_on", Date),  # crossed out: kept, never compared
    Column("void_why", Text),
    Column("baseline_although", Text),  # why it is a baseline in spite of what was found
    _json("moves"),  # Move after Move
    _json("taken_back"),  # TakenBack after TakenBack
    UniqueConstraint("plate_id", "date", "number"),
)
scan_file = Table(
    "scan_file",
    metadata,
    *_row_of("scan"),
    Column("sha256", ForeignKey("file.sha256"), nullable=False, index=True),
    Column("name", Text, nullable=False),
)
bar = Table(
    "bar",  # a steel bar that the shop keeps to check what hears
    metadata,
    Column("row", Integer, primary_key=True),
    Column("name", Text, nullable=False),
    Column("name_key", Text, nullable=False, unique=True),
    Column("notes", Text),
    Column("added_utc", String(32), nullable=False),
    Column("first_scan", Text),  # with which it was first struck, as it was called then
    _json("first"),  # BarReading of it
)
scan_bar = Table(
    "scan_bar",  # recordings of the bar; one may belong to all the scans of a day
    metadata,
    *_row_of("scan"),
    Column("bar_id", ForeignKey("bar.row"), nullable=False),
    Column("last", Boolean(create_constraint=False), nullable=False),
    Column("sha256", ForeignKey("file.sha256"), nullable=False),
    Column("name", Text, nullable=False),
)
checklist = Table(
    "checklist",
    metadata,
    Column("scan_id", ForeignKey("scan.row"), primary_key=True),
    Column("item", String(32), primary_key=True),
    Column("answer", String(16), nullable=False),
    Column("note", Text),
)
outcome = Table(
    "outcome",
    metadata,
    Column("row", Integer, primary_key=True),
    Column("scan_id", ForeignKey("scan.row"), nullable=False, index=True),
    Column("found", Text, nullable=False),
    Column("method", Text, nullable=False),
    Column("by_whom", Text, nullable=False),
    Column("on", Date, nullable=False),
    Column("note", Text),
    Column("entered_utc", String(32), nullable=False),
)
unfinished = Table(
    "unfinished",  # a scan that is being recorded at the plate, or was given up
    metadata,
    Column("row", Integer, primary_key=True),
    Column("plate_id", ForeignKey("plate.row"), nullable=False),
    Column("begun_utc", String(32), nullable=False),
    _json("facts"),  # NewScan
    _json("plan"),  # layout, order of the forces
    Column("ended_utc", String(32)),
    Column("ended_how", Text),  # the name of the scan it became, or why it was given up
)
taken_strike = Table(
    "taken_strike",
    metadata,
    *_row_of("unfinished"),
    Column("station", Text, nullable=False),
    Column("force", String(8)),
    Column("sha256", ForeignKey("file.sha256"), nullable=False),
    Column("level_db", Float, nullable=False),
    Column("snr_db", Float),
    Column("blocks_lost", Integer, nullable=False),
    Column("taken_utc", String(32), nullable=False),
    Column("undone_utc", String(32)),
    Column("key", Text, index=True, unique=True),  # by which it is known before it has a position
)
setting = Table(
    "setting",  # of the register itself
    metadata,
    Column("name", Text, primary_key=True),
    Column("value", Text, nullable=False),
)
screening = Table(
    "screening",
    metadata,
    Column("row", Integer, primary_key=True),
    Column("scan_id", ForeignKey("scan.row"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("made_utc", String(32), nullable=False),
    Column("tapscan_version", Text, nullable=False),
    Column("settings_sha256", String(64), nullable=False),
    Column("settings_text", Text, nullable=False),
    Column("disposition", Text, nullable=False),
    Column("headline", Text, nullable=False),
    Column("summary", Text, nullable=False),
    _json("next_steps"),
    _json("rules_not_run"),
    _json("limitations"),
    _json("assignment"),
    _json("more"),
    # of Scan
    Column("state", Text),
    Column("layout", Text),
    _json("places"),
    _json("scan_more"),
    Column("pictures_sha256", ForeignKey("file.sha256")),
    UniqueConstraint("scan_id", "number"),
)
recording = Table(
    "recording",
    metadata,
    *_row_of("screening"),
    Column("id", Text, nullable=False),
    Column("file", Text, nullable=False),
    Column("sha256", ForeignKey("file.sha256"), nullable=False),
    Column("sample_rate_hz", Integer, nullable=False),
    Column("channels", Integer, nullable=False),
    Column("channel_used", Integer),
    Column("duration_s", Float, nullable=False),
    _json("faults"),
    Column("reason", Text),
    _json("more"),
)
strike = Table(
    "strike",
    metadata,
    *_row_of("screening"),
    Column("id", Text, nullable=False),
    Column("recording", Text, nullable=False),
    Column("station", Text, nullable=False),
    Column("force", String(8)),
    Column("onset_s", Float, nullable=False),
    Column("duration_s", Float, nullable=False),
    Column("peak", Float, nullable=False),
    Column("level_db", Float, nullable=False),
    Column("snr_db", Float),
    _json("faults"),
    Column("reason", Text),
    _json("more"),
)
mode = Table(
    "mode",
    metadata,
    *_row_of("screening"),
    Column("id", Text, nullable=False),
    Column("frequency_hz", Float, nullable=False),
    Column("frequency_sd_hz", Float),
    Column("decay_rate_per_s", Float),
    Column("decay_rate_sd_per_s", Float),
    Column("t60_s", Float),
    Column("q", Float),
    Column("loss_factor", Float),
    Column("level_db", Float),
    Column("tone_to_noise_db", Float),
    Column("prominence_ratio_db", Float),
    Column("prominent", Boolean(create_constraint=False)),
    Column("stations_prominent", Integer),
    Column("stations_judged", Integer),
    Column("note", Text),
    Column("cents", Float),
    Column("origin", Text, nullable=False),
    _json("strengths"),
    Column("reason", Text),
    _json("more"),
)
indication = Table(
    "indication",
    metadata,
    *_row_of("screening"),
    Column("id", Text, nullable=False),
    Column("rule", Text, nullable=False),
    Column("interpretation", Text, nullable=False),
    Column("status", Text),
    _json("stations"),
    _json("modes"),
    Column("sentence", Text, nullable=False),
    _json("conditions"),
    _json("other_explanations"),
    _json("more"),
)
comparison = Table(
    "comparison",
    metadata,
    Column("screening_id", ForeignKey("screening.row"), primary_key=True),
    Column("made_utc", String(32), nullable=False),
    Column("summary", Text, nullable=False),
    _json("document"),
)
reference_set = Table(
    "reference_set",  # plates of one pattern from elsewhere
    metadata,
    Column("row", Integer, primary_key=True),
    Column("name", Text, nullable=False),
    Column("name_key", Text, nullable=False, unique=True),
    Column("pattern", Text, nullable=False),
    Column("owner", Text),
    Column("sha256", String(64), nullable=False, unique=True),
    Column("made_by", Text, nullable=False),  # program and version, as the file says
    Column("imported_utc", String(32), nullable=False),
)
reference = Table(
    "reference",  # the modes of one plate packed for a search: of a set, or of a screening of this register
    metadata,
    Column("row", Integer, primary_key=True),
    Column("set_id", ForeignKey("reference_set.row"), index=True),
    Column("screening_id", ForeignKey("screening.row"), unique=True),
    Column("position", Integer, nullable=False),
    Column("name", Text, nullable=False),
    _json("facts"),
    Column("arrays", LargeBinary, nullable=False),
)
Index("ix_screening_scan_id", screening.c.scan_id)
