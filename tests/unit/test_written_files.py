"""Files are written whole; links, pipes, devices and permissions stay what they are."""

import os
import stat
import subprocess
import sys
import threading
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from tapscan.register.database import make_register
from tapscan.targets import whole_file, write_bytes, write_text
from tapscan.workflow.exports import export_json
from tests.cli.commands import run
from tests.ctrl_c import stopped_at_every_step

posix = pytest.mark.skipif(sys.platform == "win32", reason="links, pipes and modes of POSIX")


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_a_new_file_is_whole_and_nothing_lies_beside_it(tmp_path):
    write_text(tmp_path / "a.json", "Grüße")
    assert (tmp_path / "a.json").read_text(encoding="utf-8") == "Grüße"
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]


def test_a_ctrl_c_at_any_step_leaves_the_old_file_or_the_new_one(tmp_path):
    path = tmp_path / "defaults.toml"

    def look(step: int) -> None:
        assert (path.read_text() in ("old", "new"), [p.name for p in tmp_path.iterdir()]) == (True, [path.name]), step
        path.write_text("old")

    path.write_text("old")
    assert stopped_at_every_step(lambda: write_text(path, "new"), look) > 100
    assert path.read_text() == "new"


@posix
def test_permissions_are_kept_and_a_new_file_follows_the_umask(tmp_path):
    own = tmp_path / "own.html"
    own.write_text("old")
    own.chmod(0o600)
    write_text(own, "new")
    assert (own.read_text(), mode(own)) == ("new", 0o600)
    before = os.umask(0o027)
    try:
        write_text(tmp_path / "new.html", "new")
    finally:
        os.umask(before)
    assert mode(tmp_path / "new.html") == 0o640


@posix
def test_a_link_stays_a_link(tmp_path):
    shared = tmp_path / "drive" / "page.html"
    shared.parent.mkdir()
    shared.write_text("old")
    link = tmp_path / "page.html"
    link.symlink_to(shared)
    write_text(link, "new")
    assert link.is_symlink()
    assert shared.read_text() == "new"


@posix
def test_a_link_to_nothing_yet_is_written_through(tmp_path):
    (tmp_path / "link").symlink_to(tmp_path / "later.html")
    write_text(tmp_path / "link", "new")
    assert (tmp_path / "link").is_symlink() and (tmp_path / "later.html").read_text() == "new"


@posix
def test_a_pipe_is_written_to_and_stays_a_pipe(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    data, got = b"x" * 300_000, []
    reader = threading.Thread(target=lambda: got.append(pipe.read_bytes()))
    reader.start()
    write_bytes(pipe, data)
    reader.join(10)
    assert got == [data]
    assert stat.S_ISFIFO(pipe.stat().st_mode)


@posix
def test_the_null_device_is_still_a_device():
    write_text(Path(os.devnull), "{}")
    assert stat.S_ISCHR(Path(os.devnull).stat().st_mode)


def test_what_fails_leaves_the_old_file(tmp_path):
    with pytest.raises(OSError):
        write_text(tmp_path / "nowhere" / "a.json", "x")
    assert list(tmp_path.iterdir()) == []


@pytest.fixture
def pipe(tmp_path):
    """A named pipe, and what came out of it."""
    path, got = tmp_path / "pipe", []
    os.mkfifo(path)
    reader = threading.Thread(target=lambda: got.append(path.read_bytes()), daemon=True)
    reader.start()
    yield path, got, reader
    if reader.is_alive():  # nobody wrote: let the reader go
        os.close(os.open(path, os.O_RDWR | os.O_NONBLOCK))


def test_an_error_half_way_leaves_the_old_file_and_nothing_else(tmp_path):
    path = tmp_path / "mine.json"
    path.write_text("old")
    with pytest.raises(RuntimeError), whole_file(path) as file:
        file.write(b"ha")
        raise RuntimeError
    assert path.read_text() == "old" and [p.name for p in tmp_path.iterdir()] == ["mine.json"]


def test_a_missing_folder_is_named_and_not_the_copy_beside(tmp_path):
    with pytest.raises(FileNotFoundError) as told:
        write_text(tmp_path / "no" / "x.json", "taps")
    assert told.value.filename == str(tmp_path / "no" / "x.json")


@posix
def test_the_commands_write_so(tmp_path, monkeypatch):
    """The register's export, a layout sheet and JSON, each through a link to a file of mode 0600."""
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    assert run("plate", "add", "B12").status == 0
    for name, words in (
        ("all.json", ("register", "export")),
        ("sheet.html", ("layout", "print", "grand-short")),
    ):
        real, link = tmp_path / f"real-{name}", tmp_path / name
        real.write_text("old")
        real.chmod(0o600)
        link.symlink_to(real)
        assert run(*words, link).status == 0
        assert link.is_symlink() and mode(real) == 0o600 and real.read_text() != "old"


@posix
def test_json_of_the_register_goes_into_a_pipe(tmp_path, pipe):
    path, got, reader = pipe
    export_json(make_register(tmp_path / "register"), path)
    reader.join(5)
    assert got[0].startswith(b'{"schema"') and stat.S_ISFIFO(path.stat().st_mode)


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="needs /proc")
def test_an_open_handle_is_written_to():
    """By its name under /proc, where nothing can be put in its place: /dev/stdout itself would be at risk as root."""
    told = (
        "from pathlib import Path; from tapscan.targets import write_text; write_text(Path('/proc/self/fd/1'), 'taps')"
    )
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=False)
    assert (done.stdout, done.stderr) == ("taps", "")


@pytest.mark.skipif(not os.access("/dev/shm", os.W_OK), reason="needs a folder in memory")
def test_a_new_file_in_the_folder_in_memory_is_made():
    """Under /dev, but neither a device nor an open handle."""
    with TemporaryDirectory(dir="/dev/shm") as folder:
        write_text(Path(folder) / "x.json", "taps")
        assert [(p.name, p.read_text()) for p in Path(folder).iterdir()] == [("x.json", "taps")]


@posix
def test_it_is_on_the_disk_before_it_has_its_name(tmp_path, monkeypatch):
    """Else a power cut may leave an empty file where the old one stood."""
    done: list[str] = []
    for name in ("fsync", "replace"):
        real = getattr(os, name)
        monkeypatch.setattr(os, name, lambda *a, real=real, name=name: (done.append(name), real(*a))[1])
    write_text(tmp_path / "new.html", "new")
    assert done == ["fsync", "replace"]
