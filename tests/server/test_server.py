"""A register on PostgreSQL does what one in a folder does: the same scans come back, rights hold, two benches do not get in each other's way."""

import json
import threading
from contextlib import nullcontext
from pathlib import Path

import psycopg
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from msgspec.structs import replace

from tapscan.errors import BadRequest, NotReached, RegisterProblem
from tapscan.register.accounts import accounts_sql
from tapscan.register.address import Server
from tapscan.register.bars import list_bars, note_bar
from tapscan.register.database import REVISION, make_register, open_register
from tapscan.register.entries import KeptBar, Outcome, Plate
from tapscan.register.files import path_of
from tapscan.register.glance import glance, scan_lines
from tapscan.register.plates import add_plate, edit_plate, find_plate, list_plates
from tapscan.register.recording_entries import TakenStrike
from tapscan.register.results import load_screening
from tapscan.register.scans import add_outcome, edit_scan, list_scans, set_baseline, store_scan
from tapscan.register.server_side import revision_of
from tapscan.register.tables import metadata
from tapscan.register.unfinished import begin, find_unfinished, take, undo
from tapscan.register.upkeep import check_register
from tapscan.register.visit_entries import Look
from tapscan.register.visits import edit_visit, list_visits
from tapscan.settings import Settings
from tapscan.workflow import rescreen_all, where
from tests.cli.commands import run
from tests.register import built
from tests.server.postgres import SECRET, TYPED


def put(register, content: bytes = b"taps", **changes):
    import hashlib

    result = built.screening((hashlib.sha256(content).hexdigest(),))
    files = [register.files.keep_bytes(content, "S1_1.wav")]
    return store_scan(register, "B12", built.new_scan(**changes), built.made(result), files)


def at_once(*works) -> list[object]:
    """What each gave, or the problem it had."""
    answers: list[object] = [None] * len(works)
    start = threading.Barrier(len(works))

    def run_one(i, work):
        start.wait()
        try:
            answers[i] = work()
        except BadRequest as problem:
            answers[i] = problem

    threads = [threading.Thread(target=run_one, args=one) for one in enumerate(works)]
    for one in threads:
        one.start()
    for one in threads:
        one.join(60)
    return answers


def test_the_steps_lead_to_the_same_tables(register):
    with register.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []
        assert revision_of(connection) == REVISION


def test_what_is_stored_comes_back_equal(register):
    entry = put(register, notes="naïve, 10 €", baseline=True)
    assert load_screening(register, entry.current.id) == built.screening((entry.files[0].sha256,))
    add_outcome(register, entry.name, Outcome("a crack", "dye", "N. N.", built.DAY))
    (back,) = list_scans(register)
    assert scan_lines(register) == scan_lines(register, "B12") == [back.line]
    assert (back.notes, back.baseline, back.outcomes[0].found) == ("naïve, 10 €", True, "a crack")
    assert [(g.plate, g.scans, g.baselines) for g in glance(register)] == [("B12", 1, 1)]
    found = check_register(register)
    assert (found.wrong, found.leftover, found.files) == ((), (), 1)


def test_names_stand_in_one_order_whatever_the_server_speaks(register):
    for name in ("b-2", "B 10", "ä1", "Z"):
        add_plate(register, Plate(name))
    assert [p.name for p, _, _ in list_plates(register)] == sorted(
        (p.name for p, _, _ in list_plates(register)), key=str.casefold
    )


def test_a_recording_that_changed_on_the_share_is_not_used(register, tmp_path):
    entry = put(register)
    path = path_of(tmp_path / "share", entry.files[0].sha256)
    assert register.files.path_of(entry.files[0].sha256).read_bytes() == b"taps"
    path.chmod(0o644)
    path.write_bytes(b"tape")
    with pytest.raises(RegisterProblem, match="its content has changed"):
        register.files.path_of(entry.files[0].sha256)
    assert "its content has changed" in check_register(register).wrong[0]
    (tmp_path / "share").rename(tmp_path / "unplugged")
    for read in (lambda: register.files.path_of(entry.files[0].sha256), lambda: check_register(register)):
        with pytest.raises(NotReached, match="not there"):
            read()


def test_two_benches_lose_no_change_of_each_other(register):
    entry = put(register)
    slow = threading.Event()

    def late(e):
        slow.wait(0.3)  # read, and not yet written
        return replace(e, operator="bench one")

    told = at_once(
        lambda: edit_scan(register, entry.name, late),
        lambda: edit_scan(register, entry.name, lambda e: replace(e, notes="bench two")),
    )
    assert not [t for t in told if isinstance(t, Exception)]
    (after,) = list_scans(register)
    assert (after.operator, after.notes) == ("bench one", "bench two")


def test_two_benches_at_one_visit_and_one_bar(register):
    """What each notes is there afterwards."""

    def noted(region, **facts):
        def change(visit):
            threading.Event().wait(0.1)  # read, and not yet written
            return replace(visit, looks=(*visit.looks, Look(region, "nothing")), **facts)

        return lambda: edit_visit(register, "B12", built.DAY, change)

    def with_bar(content):
        return put(register, content, bar=KeptBar("Flat bar", (register.files.keep_bytes(content, "bar.wav"),)))

    told = at_once(
        noted("rim", maker="Hollis & Wren"),
        noted("horn", place="14 Quince Road"),
        *(lambda n=name: note_bar(register, n, n) for name in ("flat bar", "FLAT BAR")),
        *(lambda i=i: with_bar(f"bar {i}".encode()) for i in range(3)),
    )
    assert not [t for t in told if isinstance(t, Exception)]
    (visit,) = list_visits(register)
    assert {look.region for look in visit.looks} == {"rim", "horn"}
    assert (visit.maker, visit.place) == ("Hollis & Wren", "14 Quince Road")
    (bar,) = list_bars(register)
    scans = list_scans(register)
    assert [e.bar.name for e in scans] == [bar.name] * 3 and bar.first_scan == scans[0].name
    assert check_register(register).wrong == () == check_register(register).leftover


def test_of_two_baselines_set_at_once_one_counts(register):
    names = [put(register, f"t{i}".encode()).name for i in range(4)]
    at_once(*(lambda n=n: set_baseline(register, "B12", [n]) for n in names))
    assert len([e for e in list_scans(register) if e.baseline]) == 1


def test_a_scan_crossed_out_meanwhile_becomes_no_baseline(register):
    """The other bench holds the lock while this one has looked the scan up already."""
    entry, told = put(register), []
    waits = threading.Thread(target=lambda: told.extend(at_once(lambda: set_baseline(register, "B12", [entry.name]))))
    with register.writing() as connection:
        waits.start()
        waits.join(0.5)
        assert waits.is_alive()
        connection.exec_driver_sql("UPDATE scan SET void_on = '2026-03-15', void_why = 'another plate'")
    waits.join(30)
    assert isinstance(told[0], BadRequest)
    assert not any(e.baseline for e in list_scans(register, void=True))


def test_the_same_recording_from_two_benches_is_stored_once(register):
    told = at_once(*(lambda: put(register, b"same") for _ in range(3)))
    assert len(list_scans(register)) == 1
    assert sum("already stored" in str(t) for t in told) == 2
    told = at_once(*(lambda i=i: put(register, f"{i}".encode()) for i in range(6)))
    assert [e.number for e in list_scans(register)] == list(range(1, 8))
    at_once(
        *(lambda: add_outcome(register, told[0].name, Outcome("a crack", "dye", "N. N.", built.DAY)) for _ in range(3))
    )
    assert [len(e.outcomes) for e in list_scans(register) if e.name == told[0].name] == [1]


def test_a_strike_that_is_sent_twice_is_stored_once(register):
    number = begin(register, "B12", built.new_scan(), {}).id
    strike = TakenStrike("S1", "soft", register.files.keep_bytes(b"tap", "S1"), -20.0, 40.0, key="k1")
    assert [take(register, number, s) for s in (strike, strike, replace(strike, key="k2"))] == [1, 1, 2]
    undo(register, number, "k2")
    assert [s.undone for s in find_unfinished(register, number).strikes] == [False, True]


READING = (
    ("plate", "list"), ("plate", "show", "B12"), ("scan", "list"), ("history", "B12"), ("visit", "list"), ("bar", "list"), ("pattern", "list"),
    ("pattern", "show", "parlour grand"), ("register", "check"), ("register", "evidence"),
)  # fmt: skip
RIGHTS = (
    ("bench", "INSERT INTO of_a_later_version VALUES (1)", True),
    ("reader", "SELECT * FROM of_a_later_version, bar, scan_bar, visit, visit_look, visit_photo, setting", True),
    ("reader", "DELETE FROM visit", False),
    ("bench", "UPDATE setting SET value = 'file:///elsewhere'", False),
    ("bench", "DELETE FROM alembic_version", False),
    ("bench", "CREATE TABLE another (x int)", False),
)


def test_a_bench_writes_and_a_reader_is_told_in_one_line(register, postgres):
    database = register.place.url.rpartition("/")[2]
    for line in (
        accounts_sql("bench", "reader"),
        f"ALTER ROLE bench PASSWORD '{SECRET}'; ALTER ROLE reader PASSWORD '{SECRET}'",
    ):
        postgres.sql(database, line)
    entry = put(register)
    bench, reader = (where.place_of(postgres.url(database, who)) for who in ("bench", "reader"))
    edit_plate(open_register(bench), "B12", notes="by the bench")
    assert put(open_register(bench), b"more").number == 2
    readers = open_register(reader)
    assert find_plate(readers, "B12").notes == "by the bench"
    assert load_screening(readers, entry.current.id).disposition
    for write in (lambda: edit_plate(readers, "B12", notes="by the reader"), lambda: put(readers, b"x")):
        with pytest.raises(RegisterProblem, match="this account may only read; nothing was stored") as told:
            write()
        assert "\n" not in str(told.value)
    for words in (
        ("plate", "add", "X"),
        ("visit", "note", "B12", "--clear", "rim"),
        ("bar", "note", "flat bar", "--notes", "x"),
    ):
        done = run(*words, "--register", reader.url)
        assert (done.status, len(done.err.splitlines())) == (1, 1) and "may only read" in done.err, words
    for words in READING:
        done = run(*words, "--register", reader.url)
        assert (done.status, done.err) == (0, ""), (words, done)
    postgres.sql(database, "CREATE TABLE of_a_later_version (x int)")
    for who, text, may in RIGHTS:
        with nullcontext() if may else pytest.raises(psycopg.errors.InsufficientPrivilege):
            postgres.sql(database, text, who)
    postgres.sql(database, "UPDATE alembic_version SET version_num = '0005'")
    with pytest.raises(RegisterProblem, match="brought up to date as the account that owns the database"):
        open_register(bench)
    with pytest.raises(BadRequest):
        accounts_sql("bench; DROP TABLE plate", "reader")


def test_a_newer_register_and_a_strangers_database_are_left_alone(register, address, postgres):
    database = register.place.url.rpartition("/")[2]
    postgres.sql(database, "UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(RegisterProblem, match="made by a newer tapscan"):
        open_register(register.place)
    other = address()
    with pytest.raises(RegisterProblem, match="holds no register yet"):
        open_register(other)
    postgres.sql(other.url.rpartition("/")[2], "CREATE TABLE plate (x int)")
    for attempt in (open_register, make_register):
        with pytest.raises(RegisterProblem, match="holds other tables"):
            attempt(other)


COMMANDS = (
    ("plate", "list"), ("scan", "list"), ("plate", "show", "B12"), ("register", "check"), ("register", "evidence"),
    ("compare", "B12"), ("history", "B12"), ("report", "B12"), ("plate", "edit", "B12", "--notes", "x"), ("register", "accounts"),
)  # fmt: skip


def wrong_addresses(good: str, database: str, port: int) -> list[str]:
    """Each has the password in it."""
    return [
        good.replace(f":{port}", ":1"), good.replace(database, "nowhere"), good.replace("owner", "nobody"),
        good.replace(TYPED, TYPED + "x"), good.replace("postgresql", "mysql"), good.replace(f":{port}", ":port"),
        f"{good}?sslmode=require&password={TYPED}", f"{good}?sslpassword={TYPED}&sslmode=bad", good.replace("%21", "%zz"), good.replace("@", "#@"),
    ]  # fmt: skip


def assert_in_no_file(folder: Path) -> None:
    files = [p for p in folder.rglob("*") if p.is_file()]
    assert len(files) > 10 and any(path.suffix == ".html" for path in files)
    for path in files:
        content = path.read_bytes()
        assert SECRET.encode() not in content and TYPED.encode() not in content, path


def test_no_password_is_in_any_file_or_word(register, postgres, tmp_path, monkeypatch):
    """Grep over all that is said and written, with good and bad addresses."""
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", SECRET)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.chdir(tmp_path)
    put(register, baseline=True)
    good, database = register.place.url, register.place.url.rpartition("/")[2]
    bad = wrong_addresses(good, database, postgres.port)
    said = [run(*words, "--register", good) if words[-1] != "accounts" else run(*words) for words in COMMANDS]
    assert {d.status for d in said} <= {0, 1}
    more = (
        ("register", "export", tmp_path / "all.json"),
        ("register", "export", tmp_path / "csv"),
        ("register", "backup", tmp_path / "copy"),
    )
    assert [run(*words, "--register", good).status for words in more] == [0, 0, 0]
    assert run("register", "move", tmp_path / "moved", "--register", good).status == 0
    for url in bad:
        done = run("plate", "list", "--register", url)
        said.append(done)
        assert (done.status, len(done.err.splitlines())) == (1, 1), (url, done)
        monkeypatch.setenv("TAPSCAN_REGISTER", url)
        said += [run("plate", "list"), run("register", "move", url)]
    to_store = ("--files", f"s3://key:{TYPED}@bucket", "--register", good)
    said += [run("plate", "list", "--no-such"), run("--help")]
    said.append(run("register", "move", good.replace(database, "nowhere"), *to_store))
    for text in (
        repr(register.place),
        repr(register),
        str(register.place.without_password.url),
        *(d.out + d.err for d in said),
    ):
        assert SECRET not in text and TYPED not in text, text
    assert "..." not in register.told
    assert_in_no_file(tmp_path)
    assert SECRET.encode() not in (postgres.home / "log").read_bytes()


def test_a_worker_on_another_computer_has_a_folder_of_its_own(register, tmp_path):
    """The bench that asked has another account there, or none."""
    entry = put(register)
    sent = replace(register.place, folder=tmp_path / "of the bench that asked")
    told = rescreen_all._one(sent, entry.name, Settings(), entry.current.number, None)
    assert told.scan == entry.name and told.trouble is not None, "bytes without sound"
    assert not sent.folder.exists()
    assert rescreen_all._for_workers(register.place, elsewhere=False) == register.place
    abroad = rescreen_all._for_workers(register.place, elsewhere=True)
    assert isinstance(abroad, Server) and TYPED not in abroad.url and "owner@" in abroad.url


def test_two_addresses_of_one_database_are_one_bench(tmp_path):
    first, second, other = (
        where.place_of(f"postgresql://{a}@shop/{d}") for a, d in (("a:x", "t"), ("b", "t"), ("a", "u"))
    )
    assert isinstance(first, Server) and first.folder == second.folder != other.folder
    assert Path("x") == where.place_of("x")
    assert json.dumps(first.shown) == '"postgresql://a@shop/t"'
