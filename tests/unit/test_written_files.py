"""Files are written whole; links, pipes, devices and permissions stay what they are."""

import os
import stat
import sys
import threading
from pathlib import Path

import pytest

from tapscan.report.files import write_bytes, write_text

posix = pytest.mark.skipif(sys.platform == "win32", reason="links, pipes and modes of POSIX")


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_a_new_file_is_whole_and_nothing_lies_beside_it(tmp_path):
    write_text(tmp_path / "a.json", "Grüße")
    assert (tmp_path / "a.json").read_text(encoding="utf-8") == "Grüße"
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]


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
