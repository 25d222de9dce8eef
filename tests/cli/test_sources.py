"""Files that a person points at: a device, a pipe or a file without end is refused in one line, at once; so is TOML that nobody means."""

import os
import re
import struct
import time
from pathlib import Path

import numpy as np
import pytest

from tapscan.register.files import STALE_S, keep_bytes, leftovers
from tapscan.toml_files import DEEPEST, MOST_BYTES
from tapscan.workflow import photos
from tests.cli.a_plates_life import BEFORE
from tests.cli.commands import run
from tests.sounds import wav_bytes, written

pytestmark = pytest.mark.skipif(os.name == "nt", reason="devices and pipes are other things there")
JPEG = b"\xff\xd8\xff" + b"\0" * 60


def refused(*words: object) -> str:
    done = run(*words)
    told = [line for line in done.err.splitlines() if line.startswith("tapscan: ")]
    assert done.status in (1, 2) and len(done.err.splitlines()) == len(told) == 1, done.err
    assert "tapscan itself" not in done.err
    return told[0]


@pytest.fixture
def pipe(tmp_path: Path) -> Path:
    os.mkfifo(tmp_path / "pipe.toml")
    return tmp_path / "pipe.toml"


def files_in(register: Path) -> int:
    return sum(path.is_file() for path in (register / "files").rglob("*"))


@pytest.mark.parametrize(
    "words", [("plate", "edit", "B12", "--photo"), ("plate", "add", "C7", "--photo")], ids=" ".join
)
def test_a_photo_is_a_picture_of_forty_megabytes_at_most(where, pipe, tmp_path, monkeypatch, words):
    before = files_in(where)
    for path in (Path("/dev/zero"), Path("/dev/null"), pipe):
        assert "no file" in refused(*words, path)
    assert "is no photo" in refused(*words, BEFORE[0])
    monkeypatch.setattr(photos, "MOST_BYTES", len(JPEG) - 1)
    (tmp_path / "large.jpg").write_bytes(JPEG)
    assert "a photo may have" in refused(*words, tmp_path / "large.jpg")
    assert files_in(where) == before
    assert run("plate", "show", "C7").status == 1, "no plate is added with a photo that is none"
    monkeypatch.undo()


def test_a_photo_of_the_terminal_is_kept(where, tmp_path):
    (tmp_path / "front.jpg").write_bytes(JPEG)
    (tmp_path / "link.jpg").symlink_to("front.jpg")
    assert run("plate", "edit", "B12", "--photo", tmp_path / "link.jpg").status == 0
    assert "link.jpg" in run("plate", "show", "B12").out


def test_an_unfinished_copy_goes_once_nobody_writes_to_it(where):
    old, new = (where / "files" / f".incoming-{name}.part" for name in ("old", "new"))
    for path in (old, new):
        path.write_bytes(b"half")
    past = time.time() - STALE_S - 60
    os.utime(old, (past, past))
    keep_bytes(where, b"more", "more.wav")
    assert leftovers(where) == [new]


@pytest.mark.parametrize("source", ["pipe", "/dev/zero", "/dev/full"])
@pytest.mark.parametrize(
    "words",
    [
        ("check",),
        ("scan", "import", "B12", "--yes", "--order", "soft,hard", "--sensor", "contact"),
        (
            "scan",
            "import",
            "B12",
            BEFORE[0],
            "--again",
            "--yes",
            "--order",
            "soft,hard",
            "--sensor",
            "contact",
            "--bar",
        ),
        ("check", BEFORE[0], "--order", "soft,hard", "--settings"),
        ("check", BEFORE[0], "--order", "soft,hard", "--report", "/dev/null", "--shop"),
        ("settings", "--settings"),
        ("pattern", "import"),
    ],
    ids=lambda words: " ".join(w for w in map(str, words) if w.isalpha() or w.startswith("--")),
)
def test_a_device_or_a_pipe_is_refused_at_once(where, pipe, source, words):
    path = pipe if source == "pipe" else source
    begun = time.monotonic()
    done = run(*words, path)
    assert done.status in (1, 2)
    assert "no file" in done.err and "tapscan itself" not in done.err, done.err
    assert time.monotonic() - begun < 15


def test_a_photo_of_a_visit_is_looked_at_as_well(where, pipe):
    for path in (pipe, "/dev/zero"):
        assert "no file" in refused(
            "visit", "note", "B12", "--on", "2026-06-02", "--state", "strung", "--photo", f"rim:{path}"
        )


def test_a_layout_from_a_pipe_is_refused(where, pipe):
    assert "no file" in refused("layout", "show", pipe)


NUMBER = "[strikes]\nrise_db = "
TOML = {
    "400 digits": (NUMBER + "9" * 400, "too large a whole number"),
    "5,000 digits": (NUMBER + "9" * 5000, "too many digits"),
    "brackets": ("a = " + "[" * 3000 + "]" * 3000, "too deep"),
    "long key": (".".join("a" * 3000) + " = 1", "too deep"),
    "long header": ("[" + ".".join("a" * 2000) + "]\nx = 1", "too deep"),
    "deep tables": ("".join(f"[{'.'.join('a' * n)}]\n" for n in range(1, DEEPEST + 3)), "too deep"),
    "long name": (f'["{"x" * 5000}"]\nc = 1', "unknown|no key|not known|not kept"),
    "long value": (f'{"x" * 5000} = "{"y" * 5000}"', "unknown|no key|not known|not kept"),
    "twice": (f"{'x' * 5000} = 1\n{'x' * 5000} = 1", "overwrite"),
    "line break": ('["a\\nb"]\nc = 1', "unknown|no key|not known|not kept"),
    "no text": (b"a = '\xe9'", "UTF-8"),
    "large": ("#" * (MOST_BYTES + 1), "larger than 1 MB"),
}
READERS = {
    "settings": ("settings", "--settings"),
    "layout": ("layout", "show"),
    "shop": ("check", BEFORE[0], "--order", "soft,hard", "--report", "/dev/null", "--shop"),
    "defaults": ("settings", "default"),
}


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("case", TOML)
def test_toml_that_nobody_means_is_one_short_line(where, case, reader):
    text, told = TOML[case]
    path = where / ("defaults.toml" if reader == "defaults" else "odd\nname.toml")
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    words = READERS[reader]
    line = refused(*words, path) if reader != "defaults" else refused(*words)
    assert re.search(told, line), line
    assert len(line) - len(str(path)) < 800


@pytest.mark.parametrize("reader", READERS)
def test_a_byte_order_mark_is_taken(where, reader):
    path = where / ("defaults.toml" if reader == "defaults" else "marked.toml")
    station = 'name = "own"\nkind = "frame"\n[[station]]\nname = "A"\nwhere = "here"\nx = 0.5\ny = 0.5\n'
    text = {
        "settings": NUMBER + "12",
        "layout": station,
        "shop": 'name = "Kettle Lane Pianos"',
        "defaults": 'hammer = "x"',
    }
    path.write_text("\ufeff" + text[reader], encoding="utf-8")
    done = run(*READERS[reader], *([] if reader == "defaults" else [path]))
    assert (done.status, done.err) == (0, "")


def test_a_second_chunk_of_sound_is_told_as_what_it_is(where, tmp_path):
    content = wav_bytes(np.zeros(8000), 16000)
    content += content[content.index(b"data") :]
    path = written(tmp_path / "a.wav", content[:4] + struct.pack("<I", len(content) - 8) + content[8:])
    assert "more than one chunk" in refused("check", path)
