"""A register copied to a server with an object store, and back: all of it comes back the same; stopped anywhere, nothing is called ready."""

import datetime as dt
import os
import shutil
import signal
import time
from pathlib import Path

import pytest
from msgspec.structs import replace

from tapscan.errors import BadRequest, DamagedFile, NotReached, RegisterProblem
from tapscan.register import moving
from tapscan.register.bars import list_bars, note_bar
from tapscan.register.database import make_register, open_register
from tapscan.register.entries import KeptBar, Outcome, Plate
from tapscan.register.file_store import SharedFolder, files_at, make_files_at
from tapscan.register.files import path_of
from tapscan.register.moving import move_register
from tapscan.register.plates import add_photo, add_plate, find_plate
from tapscan.register.results import load_screening
from tapscan.register.scans import add_outcome, list_scans
from tapscan.register.unfinished import find_unfinished
from tapscan.register.upkeep import back_up, check_register
from tapscan.register.visit_entries import Look, Visit
from tapscan.register.visits import add_look_photo, keep_visit, list_visits
from tests.cli.commands import run
from tests.register.conftest import content_of, put
from tests.server import kills
from tests.server import test_server as server_tests

SNAPSHOT = Path(__file__).parents[1] / "register" / "snapshot_0001.sqlite"
SHARE = "TAPSCAN_FILES"


VISIT = Visit("C3", dt.date(2026, 11, 27), "Hollis & Wren", looks=(Look("rim", "note", ("other",), "bent"),))


def quiet(_what: str, _done: int, _all: int) -> None:
    pass


@pytest.fixture
def folder(tmp_path):
    """Two plates, three scans, one with a bar, an outcome, photos, a visit, a recording that is going on, the shop's layout."""
    made = make_register(tmp_path / "folder")
    add_plate(made, Plate("B12"))
    add_plate(made, Plate("C3", notes="naïve"))
    entry = put(made, baseline=True, pictures=2)
    put(made, b"more", bar=KeptBar("flat bar", last=(made.files.keep_bytes(b"bar", "bar.wav"),)))
    note_bar(made, "flat bar", "450 mm")
    keep_visit(made, VISIT)
    add_look_photo(made, "C3", VISIT.date, "horn", made.files.keep_bytes(b"horn", "horn.jpg"))
    put(made, b"other", plate="C3")
    add_outcome(made, entry.name, Outcome("a crack", "dye", "N. N.", entry.date))
    add_photo(made, "C3", made.files.keep_bytes(b"photo", "front.jpg"))
    kills.begun(made)
    (made.folder / "layouts").mkdir()
    (made.folder / "layouts" / "own.toml").write_text("name = 'own'")
    return made


@pytest.fixture(scope="module")
def store():
    """An S3-protocol server in this process, and a bucket."""
    moto = pytest.importorskip("moto.server")
    s3fs = pytest.importorskip("s3fs")
    server = moto.ThreadedMotoServer("127.0.0.1", 0)
    server.start()
    host, port = server.get_host_and_port()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("AWS_ENDPOINT_URL", f"http://{host}:{port}")
        patch.setenv("AWS_ACCESS_KEY_ID", "bench")
        patch.setenv("AWS_SECRET_ACCESS_KEY", "Geheim")
        patch.setenv("AWS_DEFAULT_REGION", "us-east-1")
        s3fs.S3FileSystem.clear_instance_cache()
        s3fs.S3FileSystem().mkdir("bucket")
        yield server
        s3fs.S3FileSystem.clear_instance_cache()
    server.stop()


def told(register):
    """Everything, in a form that can be compared."""
    scans = list_scans(register, void=True)
    results = [load_screening(register, s.id, pictures=True) for e in scans for s in e.screenings]
    pictures = [[(p.station, p.spectrum_db.tolist()) for p in r.pictures] for r in results]
    return (
        scans,
        [(r.scan, r.indications, r.comparison) for r in results],
        pictures,
        find_plate(register, "C3"),
        find_unfinished(register, 1),
        list_bars(register),
        list_visits(register),
    )


def test_to_a_server_and_back_all_is_the_same(folder, address, store, tmp_path, monkeypatch):
    monkeypatch.delenv(SHARE)
    before, files = told(folder), content_of(folder.folder)
    there = address()
    with pytest.raises(BadRequest, match="where are recordings"):
        move_register(folder, there, None, quiet)
    moved = move_register(folder, there, "s3://bucket/tapscan", quiet)
    assert (moved.plates, moved.scans, moved.files, moved.missing) == (2, 3, 7, ())
    assert content_of(folder.folder) == files, "the source is only read"
    shared = open_register(there)
    assert told(shared) == before
    assert check_register(shared).wrong == () == check_register(shared).leftover
    assert (shared.folder / "layouts" / "own.toml").exists()
    with pytest.raises(BadRequest, match="holds a register already"):
        move_register(folder, there, "s3://bucket/tapscan", quiet)
    server_tests.put(shared, b"new at the server")
    assert [e.number for e in list_scans(shared, "B12")] == [1, 2, 3], "numbers go on after those that came"
    assert note_bar(shared, "square bar").id == 2 and keep_visit(shared, replace(VISIT, plate="B12")).id == 2
    made = back_up(shared, tmp_path / "copy")
    assert (made.files, made.missing) == (8, ())
    back = open_register(tmp_path / "copy")
    assert told(back) == told(shared)
    assert check_register(back).wrong == ()
    with pytest.raises(BadRequest, match="not empty"):
        move_register(shared, tmp_path / "copy", None, quiet)


def test_an_object_that_changed_or_cannot_be_reached(folder, address, store, tmp_path, monkeypatch):
    monkeypatch.setenv(SHARE, "s3://bucket/second")
    there = address()
    move_register(folder, there, None, quiet)
    shared = open_register(there)
    sha256 = list_scans(shared)[0].files[0].sha256
    copy = shared.files.path_of(sha256)
    copy.chmod(0o644)
    copy.write_bytes(b"spoilt here")
    assert shared.files.path_of(sha256).read_bytes() == b"taps", "fetched anew"
    shared.files.fs.pipe(f"bucket/second/files/{sha256[:2]}/{sha256}", b"tape")
    copy.unlink()
    with pytest.raises(DamagedFile):
        shared.files.path_of(sha256)
    assert any("its content has changed" in line for line in check_register(shared).wrong)
    assert not copy.exists()
    monkeypatch.setenv(SHARE, "s3://nobucket/second")
    assert not open_register(there).files.path_of(sha256).exists()
    monkeypatch.setattr(shared.files.fs, "get_file", lambda *_: (_ for _ in ()).throw(TimeoutError("slow")))
    with pytest.raises(NotReached, match="does not answer"):
        shared.files.path_of(sha256)


def test_a_bench_without_keys_is_told_so(address, store, monkeypatch):
    import s3fs

    for name in ("AWS_ACCESS_KEY_ID", "AWS_SECRET_ACCESS_KEY"):
        monkeypatch.delenv(name)
    monkeypatch.setenv("AWS_EC2_METADATA_DISABLED", "true")
    monkeypatch.setenv("AWS_SHARED_CREDENTIALS_FILE", os.devnull)
    s3fs.S3FileSystem.clear_instance_cache()
    try:
        with pytest.raises(RegisterProblem, match="no keys") as told:
            make_files_at("s3://bucket/third")
    finally:
        s3fs.S3FileSystem.clear_instance_cache()
    assert not isinstance(told.value, NotReached), "waiting does not mend it"


def test_a_move_that_is_killed_leaves_the_source_and_an_unfinished_target(folder, address, tmp_path):
    """Six moments of it; then the same command makes it whole."""
    before, source = told(folder), content_of(folder.folder)
    share, start = (tmp_path / "share").as_uri(), time.monotonic()
    move_register(folder, address(), share, quiet)
    lasts_s, unfinished = time.monotonic() - start, 0
    for i in range(6):
        there = address()
        shutil.rmtree(tmp_path / "share" / "files")
        pid = os.fork()
        if pid == 0:
            move_register(folder, there, share, quiet)
            os._exit(0)
        time.sleep(i / 5 * lasts_s)
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        assert content_of(folder.folder) == source
        try:
            assert told(open_register(there)) == before, "whole"
            continue
        except RegisterProblem as problem:
            assert "did not finish" in str(problem) or "no register yet" in str(problem)
            unfinished += 1
        move_register(folder, there, share, quiet)
        assert told(open_register(there)) == before
    assert unfinished


def test_a_lost_recording_stops_a_move_unless_it_is_left(folder, address, tmp_path):
    sha256 = list_scans(folder)[0].files[0].sha256
    folder.files.path_of(sha256).unlink()
    there = address()
    with pytest.raises(RegisterProblem, match="is missing; nothing was moved"):
        move_register(folder, there, None, quiet)
    with pytest.raises(RegisterProblem, match="did not finish"):
        open_register(there)
    with pytest.raises(RegisterProblem, match="is missing; nothing was moved"):
        move_register(folder, tmp_path / "new", None, quiet)
    assert not (tmp_path / "new").exists()
    assert not (tmp_path / "new.part").exists()
    moved = move_register(folder, there, None, quiet, leave_missing=True)
    assert len(moved.missing) == 1 and len(list_scans(open_register(there))) == 3


def test_what_arrives_otherwise_is_not_called_ready(folder, address, monkeypatch):
    insert = moving.insert
    monkeypatch.setattr(
        moving, "insert", lambda table: insert(table).prefix_with("") if table.name != "outcome" else moving.select(1)
    )
    there = address()
    with pytest.raises(RegisterProblem, match="table outcome: 0 of 1 rows arrived"):
        move_register(folder, there, None, quiet)
    with pytest.raises(RegisterProblem, match="did not finish"):
        open_register(there)


def test_a_file_that_arrives_otherwise_is_not_called_moved(folder, address, store, tmp_path, monkeypatch):
    class Spoils(SharedFolder):
        def keep_file(self, source, name):
            kept = super().keep_file(source, name)
            path_of(self.folder, kept.sha256).chmod(0o644)
            path_of(self.folder, kept.sha256).write_bytes(b"spoilt")
            return kept

    monkeypatch.setattr(moving, "files_at", lambda *_: Spoils(tmp_path / "share"))
    there = address()
    with pytest.raises(RegisterProblem, match="while it was copied"):
        move_register(folder, there, None, quiet)
    with pytest.raises(RegisterProblem, match="did not finish"):
        open_register(there)
    s3 = files_at("s3://bucket/half", tmp_path)
    monkeypatch.setattr(s3.fs, "put_file", lambda _, to: s3.fs.pipe(to, b"half"))
    with pytest.raises(NotReached, match="did not arrive whole"):
        s3.keep_bytes(b"the whole", "S1")


def test_a_register_of_the_first_version_moves(tmp_path, address):
    (tmp_path / "old" / "files").mkdir(parents=True)
    shutil.copy(SNAPSHOT, tmp_path / "old" / "register.sqlite")
    there = address()
    done = run("register", "move", there.url, "--register", tmp_path / "old", "--leave-missing")
    assert (done.status, done.out.count("plates 1, scans 1")) == (1, 1), done
    assert [e.name for e in list_scans(open_register(there))] == [
        e.name for e in list_scans(open_register(tmp_path / "old"))
    ]
    assert run("scan", "list", "--register", there.url).status == 0
