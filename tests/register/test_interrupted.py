"""An import stopped at every write in turn: all earlier scans are there, and all or nothing of the new one.

The writes are the operating system's own calls, counted below Python and SQLite by interrupt.c.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import soundfile

from tapscan.register.database import Register, open_register
from tapscan.register.files import sha256_of
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.register.unfinished import unfinished_scans
from tapscan.register.upkeep import check_register
from tests.register import built, importing, recording_child
from tests.register.asked import asked_in_lines
from tests.sounds import taps_at

COMPILER = shutil.which("cc") or shutil.which("gcc")
pytestmark = pytest.mark.skipif(
    not sys.platform.startswith("linux") or COMPILER is None, reason="needs Linux and a C compiler"
)
CONTENTS = (b"one" * 500_000, b"two" * 1000)
EARLIER = "B12/2026-03-14"
NEW = "B12/2026-03-14-2"


@pytest.fixture(scope="module")
def shim(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("shim") / "interrupt.so"
    source = Path(__file__).with_name("interrupt.c")
    subprocess.run([str(COMPILER), "-shared", "-fPIC", "-O1", "-o", str(target), str(source), "-ldl"], check=True)
    return target


@pytest.fixture
def register(template: Path) -> Iterator[Register]:
    """In memory where the system offers that: the calls are the same, the waiting is not."""
    with tempfile.TemporaryDirectory(dir="/dev/shm" if os.access("/dev/shm", os.W_OK) else None) as folder:
        yield open_register(Path(shutil.copytree(template, Path(folder) / "register")))


@pytest.fixture(scope="module")
def importer(shim: Path) -> Iterator[subprocess.Popen[str]]:
    with asked_in_lines("tests.register.importing", LD_PRELOAD=str(shim)) as child:
        yield child


def said(importer: subprocess.Popen[str], *words: object, layout: object = "") -> list[str]:
    """Lines that tests.register.importing says."""
    importer.stdin.write("|".join(map(str, (*words, layout))) + "\n")
    importer.stdin.flush()
    lines = []
    while not (line := importer.stdout.readline().rstrip("\n")).startswith("ended"):
        assert importer.poll() is None
        lines.append(line)
    assert line == "ended 0"
    return lines[lines.index("ready") + 1 :]


def tries(register, tmp_path: Path, importer, how: str, first: int = 1, step: int = 1) -> list[tuple[Path, int, str]]:
    """Folder, exit status and words of each try."""
    recordings = tmp_path / "recordings"
    recordings.mkdir(exist_ok=True)
    for i, content in enumerate(CONTENTS):
        (recordings / f"S{i}.wav").write_bytes(content)
    rows = [line.split("|", 2) for line in said(importer, register.folder, recordings, how, first, step)]
    return [(Path(f"{register.folder}-{how}-{at}"), int(status), told) for at, status, told in rows]


@contextmanager
def looked_at(folder: Path) -> Iterator[Register]:
    """Always at the same place, where statements are compiled once."""
    place = folder.rename(folder.with_name("looked-at"))
    try:
        yield open_register(place)
    finally:
        place.rename(folder)


def whole_or_not_there(folder: Path, *, after_a_stop: bool = False) -> bool:
    """The earlier scan is whole; the new one too, or nothing of it is there."""
    with looked_at(folder) as register:
        return _whole_or_not_there(register, after_a_stop)


def _whole_or_not_there(register: Register, after_a_stop: bool) -> bool:
    folder = register.folder
    entries = {e.name: e for e in list_scans(register)}
    hashes = tuple(sha256_of(folder / "files" / f.sha256[:2] / f.sha256) for f in entries[EARLIER].files)
    assert load_screening(register, entries[EARLIER].current.id) == built.screening(hashes)
    found = check_register(register)
    assert found.wrong == ()
    for path in (folder / "files").glob("*/*"):
        assert path.name == sha256_of(path), "a name is given to complete files only"
    assert entries.keys() <= {EARLIER, NEW}
    with register.reading() as connection:
        for table in ("strike", "mode", "screening", "scan", "scan_file"):
            rows = connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar_one()
            assert rows in ROWS[table], f"{rows} rows in {table}"
    if NEW in entries:
        assert len(load_screening(register, entries[NEW].current.id, pictures=True).scan.modes) == 12
        assert after_a_stop or found.leftover == ()
    return NEW in entries


ROWS = {"strike": (3, 7), "mode": (6, 18), "screening": (1, 2), "scan": (1, 2), "scan_file": (1, 3)}


@pytest.mark.parametrize(("how", "first", "step"), [("kill", 1, 1), ("torn", 2, 3)])
def test_killed_at_every_write(register, stored, tmp_path, importer, how, first, step):
    stored()
    ended = tries(register, tmp_path, importer, how, first, step)
    assert len(ended) * step > 60, "the writes of Python and SQLite are both counted"
    assert all(status == -9 for _, status, _ in ended[:-1])
    there = [whole_or_not_there(folder) for folder, _, _ in ended]
    assert there[-1] and not there[0]
    assert there == sorted(there), "once stored it stays stored"
    for folder, _, _ in ended[:-1][:: max(1, len(ended) // 4)]:
        if not whole_or_not_there(folder):  # what is left of a stopped import is in nobody's way
            importing.one_import(folder, sorted((tmp_path / "recordings").iterdir()))
            assert whole_or_not_there(folder, after_a_stop=True)


def test_the_disk_is_full_from_every_write_on(register, stored, tmp_path, importer):
    stored()
    ended = tries(register, tmp_path, importer, "full")
    assert len(ended) > 20
    for folder, status, said in ended[:-1]:
        assert status == 1, said
        assert "\n" not in said and "disk is full; " in said and "nothing was stored" in said
        assert not whole_or_not_there(folder)
    assert whole_or_not_there(ended[-1][0])


def test_a_recording_killed_at_every_write_keeps_every_strike_it_showed(register, tmp_path, importer):
    """Two strikes, stopped before each write in turn: what was shown as accepted is there and whole; the rest is all or nothing."""
    recordings = tmp_path / "sounds"
    recordings.mkdir()
    lasting = ((412.0, 0.2, 0.10), (1130.0, 0.15, 0.11), (2480.0, 0.1, 0.12))
    soundfile.write(recordings / "taps.wav", taps_at([0.6, 1.2], 2.0, 16000, modes=lasting), 16000, subtype="FLOAT")
    layout = tmp_path / "two.toml"
    layout.write_text(recording_child.LAYOUT)
    lines = said(importer, register.folder, recordings, "kill", 1, 1, layout=layout)
    shown: list[str] = []
    kept_so_far = []
    for line in lines:
        if line.startswith("accepted"):
            shown.append(line.split()[1])
        elif "|" in line:
            at, status, told = line.split("|", 2)
            assert status in ("-9", "0"), told
            with looked_at(Path(f"{register.folder}-kill-{at}")) as opened:
                kept = [s.file.sha256 for u in unfinished_scans(opened) for s in u.kept]
                assert kept[: len(shown)] == shown and len(kept) - len(shown) in (0, 1)
                for sha256 in kept:
                    assert sha256_of(opened.folder / "files" / sha256[:2] / sha256) == sha256
                assert check_register(opened).wrong == ()
            kept_so_far.append(len(kept))
    assert kept_so_far[0] == 0 and kept_so_far[-1] == 2 and len(kept_so_far) > 20
    assert kept_so_far == sorted(kept_so_far)
