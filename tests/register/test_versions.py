"""Older registers are brought up to date after a backup, newer ones are refused untouched, strangers are left alone."""

import shutil
import sqlite3
import textwrap
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from msgspec.structs import replace

from tapscan.errors import RegisterProblem
from tapscan.register import database, migrating, setting, sqlite_side
from tapscan.register.database import REVISION, make_register, open_register, revision_of
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.register.tables import metadata
from tapscan.register.unfinished import undo, unfinished_scans
from tapscan.register.upkeep import check_register, restore
from tests import registers
from tests.cli.commands import run
from tests.every import each
from tests.register import built
from tests.register.conftest import content_of
from tests.snapshots import same_as_before

NEXT = f"{int(REVISION) + 1:04d}"
SNAPSHOT = Path(__file__).with_name("snapshot_0001.sqlite")


def test_the_steps_lead_to_the_tables(register):
    with register.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []
    script = ScriptDirectory.from_config(migrating._config())
    assert script.get_heads() == [REVISION]
    assert revision_of(register.folder) == REVISION


def test_the_tests_own_registers_are_as_the_migrations_make_them(tmp_path, monkeypatch):
    """Those after the first of a process come from its SQL (tests/registers.py)."""
    make_register(tmp_path / "first")
    true_step = registers.BY_MIGRATIONS
    monkeypatch.setattr(registers, "BY_MIGRATIONS", lambda *_: pytest.fail("made by the migrations"))
    alike = make_register(tmp_path / "alike")
    monkeypatch.setattr(database, "take_step", true_step)
    true = make_register(tmp_path / "true")
    with alike.reading() as one, true.reading() as other:
        assert registers.schema(one) == registers.schema(other) and len(registers.schema(one)) > 10
        assert registers.rows(one) == registers.rows(other)
        told = [setting.read(connection, setting.IDENTITY) for connection in (one, other)]
    assert None not in told and len(set(told)) == 2 and {len(x) for x in told} == {32}


def test_a_register_of_revision_0001_still_opens(tmp_path):
    """The snapshot was written by the first version; its screening must stay readable, whatever records.py becomes."""
    (tmp_path / "files").mkdir()
    shutil.copy(SNAPSHOT, tmp_path / "register.sqlite")
    register = open_register(tmp_path)
    copies = sorted(copy.name[:12] for copy in (tmp_path / "backups").iterdir())
    assert copies == [f"before-{step}-" for step in STEPS[1:]] and STEPS[1] == "0002" and STEPS[-1] == REVISION
    assert unfinished_scans(register) == []
    (entry,) = list_scans(register)
    back = load_screening(register, entry.current.id)
    expected = built.screening(("ab" * 32,))
    assert [m.frequency_hz for m in back.scan.modes] == [m.frequency_hz for m in expected.scan.modes]
    assert [m.amplitudes for m in back.scan.modes] == [m.amplitudes for m in expected.scan.modes]
    assert back.indications[0].sentence == expected.indications[0].sentence
    assert back.comparison is not None
    assert entry.conditions == replace(built.CONDITIONS, sensor=replace(built.CONDITIONS.sensor, mass_g=None))


STEPS = [s.revision for s in ScriptDirectory.from_config(migrating._config()).walk_revisions()][::-1]
BEGUN = """
    INSERT INTO unfinished (row, plate_id, begun_utc, facts, plan) VALUES (1, 1, '2026-03-14T10:00:00Z', '{"date": "2026-03-14", "conditions": {}}', '{}');
    INSERT INTO taken_strike (unfinished_id, position, station, sha256, level_db, blocks_lost, taken_utc)
      SELECT 1, n, 'S1', sha256, -20, 0, '2026-03-14T10:00:00Z' FROM file, (SELECT 1 AS n UNION SELECT 2);
"""


def at_step(where: Path, version: str) -> Path:
    """The first version's register, brought to that step and no further."""
    folder = where / version
    (folder / "files").mkdir(parents=True)
    shutil.copy(SNAPSHOT, folder / "register.sqlite")
    for step in STEPS[1 : STEPS.index(version) + 1]:
        with sqlite_side.engine_of(folder).execution_options(writes=True).begin() as connection:
            migrating.migrate(connection, step)
    return folder


@each("version", STEPS[:-1])
def test_a_backup_of_an_earlier_version_is_restored_and_stays_as_it_is(version, tmp_path):
    backup = at_step(tmp_path, version)
    before = content_of(backup)
    made = restore(backup, tmp_path / f"restored-{version}")
    assert content_of(backup) == before and revision_of(made.folder) == REVISION
    register = open_register(made.folder)
    (entry,) = list_scans(register)
    expected = built.screening(("ab" * 32,))
    back = load_screening(register, entry.current.id)
    assert [m.frequency_hz for m in back.scan.modes] == [m.frequency_hz for m in expected.scan.modes]
    found = check_register(register)
    assert [line[:13] for line in (*found.wrong, *made.missing)] == ["files/ab/abab"] * 2, (
        "the snapshot has no recording"
    )
    assert found.leftover == () and found.uncounted == 1


@each("version", STEPS[1 : STEPS.index("0009")])  # from then on a strike is stored with its key
def test_a_recording_that_was_begun_with_an_earlier_version_goes_on(version, tmp_path):
    folder = at_step(tmp_path, version)
    with closing(sqlite3.connect(folder / "register.sqlite")) as connection:
        connection.executescript(BEGUN)
    assert revision_of(folder) == version
    register = open_register(folder)
    (begun,) = unfinished_scans(register)
    first, second = (strike.key for strike in begun.strikes)
    assert None not in (first, second) and first != second
    undo(register, begun.id, second)
    assert [s.key for s in unfinished_scans(register)[0].kept] == [first]
    assert len(list_scans(register)) == 1


def set_version(folder: Path, version: str) -> None:
    with sqlite3.connect(folder / "register.sqlite") as connection:
        connection.execute("UPDATE alembic_version SET version_num = ?", (version,))
    connection.close()


@pytest.mark.parametrize("version", [NEXT, "9999", "deadbeef"])
def test_a_newer_register_is_refused_and_left_byte_for_byte(register, stored, version):
    stored()
    set_version(register.folder, version)
    before = content_of(register.folder)
    for attempt in (open_register, make_register):
        with pytest.raises(RegisterProblem, match=rf"newer tapscan \(its version is {version}.*update tapscan"):
            attempt(register.folder)
    assert content_of(register.folder) == before


def test_a_newer_register_is_refused_by_every_command(register, stored):
    stored()
    set_version(register.folder, NEXT)
    before = content_of(register.folder)
    commands = (
        ["plate", "list"],
        ["plate", "add", "X"],
        ["scan", "list"],
        ["register", "check"],
        ["history", "B12"],
        ["compare", "B12"],
    )
    for words in commands:
        done = run(*words, "--register", register.folder)
        assert done.status == 1, words
        (line,) = done.err.splitlines()
        assert "newer tapscan" in line
        same_as_before("register-newer", line, {str(register.folder): "FOLDER", NEXT: "NEXT", REVISION: "OURS"})
    assert content_of(register.folder) == before


def test_another_programs_database_is_left_alone(tmp_path):
    with sqlite3.connect(tmp_path / "register.sqlite") as connection:
        connection.execute("CREATE TABLE plate (x)")
    connection.close()
    before = content_of(tmp_path)
    with pytest.raises(RegisterProblem, match="not a register of tapscan"):
        open_register(tmp_path)
    assert content_of(tmp_path) == before


def test_a_folder_without_a_register_stays_without(tmp_path):
    with pytest.raises(RegisterProblem, match="there is no register here; `tapscan plate add NAME` makes one"):
        open_register(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_register_whose_making_was_stopped_is_made_anew(tmp_path):
    (tmp_path / "register.sqlite").touch()
    assert list_scans(make_register(tmp_path)) == []


@pytest.fixture
def grown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Steps with one more, which adds a column; `fails` in the file makes it break after that."""
    folder = Path(shutil.copytree(Path(database.__file__).with_name("migrations"), tmp_path / "migrations"))
    step = f"""
        import sqlalchemy as sa
        from alembic import op

        revision, down_revision = "{NEXT}", "{REVISION}"

        def upgrade():
            op.add_column("plate", sa.Column("colour", sa.Text()))
            if FAILS:
                op.execute("SELECT nonsense")
    """
    (folder / "versions" / f"r{NEXT}.py").write_text("FAILS = False\n" + textwrap.dedent(step))
    monkeypatch.setattr(migrating, "LOCATION", str(folder))
    monkeypatch.setattr(database, "REVISION", NEXT)
    return folder / "versions" / f"r{NEXT}.py"


def columns(database_file: Path) -> set[str]:
    with sqlite3.connect(database_file) as connection:
        found = {row[1] for row in connection.execute("PRAGMA table_info(plate)")}
    connection.close()
    return found


def test_an_older_register_is_copied_and_brought_up_to_date(register, stored, grown):
    entry = stored()
    opened = open_register(register.folder)
    assert revision_of(register.folder) == NEXT
    assert "colour" in columns(register.folder / "register.sqlite")
    assert list_scans(opened) == [entry]
    (copy,) = (register.folder / "backups").iterdir()
    assert copy.name.startswith(f"before-{NEXT}-")
    assert "colour" not in columns(copy)
    shutil.copy(copy, register.folder / "register.sqlite")
    assert revision_of(register.folder) == REVISION


class Stopped:
    """A database whose copy does not come to its end."""

    def __init__(self, stop: BaseException) -> None:
        self.stop = stop

    def backup(self, copy: sqlite3.Connection) -> None:
        copy.execute("CREATE TABLE half (x)")
        raise self.stop

    def close(self) -> None:
        pass


@pytest.mark.parametrize(
    ("stop", "seen"),
    [(sqlite3.OperationalError("database or disk is full"), RegisterProblem), (KeyboardInterrupt(), KeyboardInterrupt)],
    ids=["full", "ctrl-c"],
)
def test_no_half_copy_passes_for_one_from_before_the_step(register, stored, grown, monkeypatch, stop, seen):
    entry, backups = stored(), register.folder / "backups"
    with monkeypatch.context() as patched:
        patched.setattr(sqlite_side, "_reader", lambda _: Stopped(stop))
        patched.setattr(database, "revision_of", lambda _: REVISION)
        with pytest.raises(seen):
            open_register(register.folder)
    assert list(backups.iterdir()) == [] and revision_of(register.folder) == REVISION
    (backups / f"before-{NEXT}-0.sqlite.part").write_bytes(b"what a kill left")
    opened = open_register(register.folder)
    assert list_scans(opened) == [entry]
    assert check_register(opened).leftover == (
        f"{Path('backups') / f'before-{NEXT}-0.sqlite.part'}: an unfinished copy",
    )


def test_a_step_that_fails_leaves_the_register_as_it_was(register, stored, grown):
    entry = stored()
    grown.write_text(grown.read_text().replace("FAILS = False", "FAILS = True"))
    with pytest.raises(RegisterProblem, match="no such column"):
        open_register(register.folder)
    assert revision_of(register.folder) == REVISION
    assert "colour" not in columns(register.folder / "register.sqlite"), "step and record share one transaction"
    grown.write_text(grown.read_text().replace("FAILS = True", "FAILS = False"))
    assert list_scans(open_register(register.folder)) == [entry]
