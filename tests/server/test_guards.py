"""What keeps a register on a server whole when several work at it, each looked at by itself."""

import os
import stat
import threading

import pytest
from sqlalchemy import exc, func, inspect, select

from tapscan.errors import BadRequest, NotReached, RegisterProblem
from tapscan.register import database, server_side, setting
from tapscan.register import tables as t
from tapscan.register.database import REVISION, make_register, open_register
from tapscan.register.file_store import files_at, make_files_at
from tapscan.register.files import path_of
from tapscan.register.moving import move_register
from tapscan.register.plates import edit_plate, find_plate
from tapscan.register.trouble import plain_words
from tapscan.register.upkeep import check_register
from tests.every import each
from tests.register.test_versions import NEXT, grown  # noqa: F401  fixture
from tests.server.postgres import SECRET, TYPED
from tests.server.test_server import put


def test_a_read_sees_one_state_and_cannot_write(register):
    scans = select(func.count()).select_from(t.scan)
    with register.reading() as connection:
        before = connection.execute(scans).scalar_one()
        put(register)
        assert connection.execute(scans).scalar_one() == before
    with pytest.raises(RegisterProblem, match="nothing was stored"), register.reading() as connection:
        connection.execute(t.plate.update().values(notes="by mistake"))
    assert find_plate(register, "B12").notes is None


def test_who_waits_too_long_for_another_bench_is_told_to_do_it_again(register, monkeypatch):
    monkeypatch.setitem(server_side.SESSION, "lock_timeout", "100ms")
    second, told = open_register(register.place), []

    def late():
        with pytest.raises(NotReached) as problem:
            edit_plate(second, "B12", notes="late")
        told.append(str(problem.value))

    waits = threading.Thread(target=late)
    with register.writing():
        waits.start()
        waits.join(30)
    assert "another tapscan is writing" in told[0] and "\n" not in told[0]
    assert edit_plate(second, "B12", notes="in time").notes == "in time"
    second.engine.dispose()


def test_a_text_that_the_server_cannot_keep_is_one_line(register):
    with pytest.raises(RegisterProblem, match="a text holds a sign") as told:
        edit_plate(register, "B12", notes="a\0b")
    assert "\n" not in str(told.value) and "\0" not in str(told.value)


def test_a_database_that_does_not_keep_every_sign_is_refused_empty(address, postgres):
    there = address()
    name = there.url.rpartition("/")[2]
    postgres.sql("postgres", f'DROP DATABASE "{name}"')
    postgres.sql("postgres", f"CREATE DATABASE \"{name}\" TEMPLATE template0 ENCODING 'LATIN1' LOCALE 'C'")
    with pytest.raises(RegisterProblem, match="keeps text as LATIN1"):
        make_register(there)
    tables = "SELECT tablename FROM pg_tables WHERE schemaname = 'public'"
    assert postgres.sql(name, tables) == []


def test_the_owner_brings_it_up_to_date_whole_or_not_at_all(register, grown, monkeypatch):  # noqa: F811
    """Two steps, of which the second fails at first."""
    last = f"{int(NEXT) + 1:04d}"
    second = grown.with_name(f"r{last}.py")
    text = grown.read_text().replace(f'"{NEXT}", "{REVISION}"', f'"{last}", "{NEXT}"').replace("colour", "weight")
    second.write_text(text.replace("FAILS = False", "FAILS = True"))
    monkeypatch.setattr(database, "REVISION", last)
    with pytest.raises(RegisterProblem, match="brought up to date"):
        open_register(register.place)
    assert _state(register) == (REVISION, False)
    second.write_text(text)
    open_register(register.place).engine.dispose()
    assert _state(register) == (last, True)


def _state(register):
    with register.reading() as connection:
        columns = {c["name"] for c in inspect(connection).get_columns("plate")}
        return server_side.revision_of(connection), "colour" in columns


@each("url", ["s3://key:word@bucket/tapscan", "s3://bucket/tapscan?key=word", "bucket/tapscan", ""])
def test_where_files_lie_is_an_address_without_a_password(url, monkeypatch):
    monkeypatch.delenv(setting.VARIABLE, raising=False)
    with pytest.raises(BadRequest) as told:
        setting.files_wanted(url)
    assert "word" not in str(told.value).replace("password", "")


def test_a_register_that_moves_stays_the_same_register(register, address, tmp_path):
    """Or strikes that wait at a bench would be told that they are another's."""
    there = move_register(register, tmp_path / "folder", None, lambda *_: None).place
    back = address()
    move_register(open_register(there), back, (tmp_path / "share").as_uri(), lambda *_: None)
    assert register.identity and open_register(back).identity == register.identity
    assert make_register(address()).identity not in (None, register.identity)


def test_every_bench_of_the_group_adds_to_what_another_began(tmp_path):
    """By the rights of the folder, whatever this bench's umask is."""
    share = tmp_path / "group"
    share.mkdir()
    share.chmod(0o2770)
    before = os.umask(0o077)
    try:
        make_files_at(share.as_uri())
        sha256 = files_at(share.as_uri(), tmp_path).keep_bytes(b"tap", "S1").sha256
    finally:
        os.umask(before)
    made = [share / "files", path_of(share, sha256).parent]
    assert [stat.S_IMODE(folder.stat().st_mode) for folder in made] == [0o2770, 0o2770]
    assert stat.S_IMODE(path_of(share, sha256).stat().st_mode) == 0o444


def test_what_comes_in_while_files_are_looked_at_is_not_left_over(register):
    put(register)
    found = check_register(register, lambda done, _: put(register, f"{done}".encode()) and None)
    assert (found.wrong, found.leftover, found.files) == ((), (), 1)
    register.files.keep_bytes(b"nobody's", "x.wav")
    assert len(check_register(register).leftover) == 1


@each(("state", "away"), [("57P01", True), ("57P03", True), (None, True), ("53300", False)])
def test_a_server_that_is_being_shut_down_or_started_is_waited_for(state, away, register):
    """Codes of PostgreSQL's manual, appendix A, from memory; a driver's words are shown without the password."""

    class Told(Exception):
        sqlstate = state

    with pytest.raises(RegisterProblem) as told, plain_words(register.place):
        raise exc.OperationalError("", {}, Told(f"no luck with {SECRET}, {TYPED}"))
    assert isinstance(told.value, NotReached) == away
    assert SECRET not in str(told.value) and TYPED not in str(told.value)
