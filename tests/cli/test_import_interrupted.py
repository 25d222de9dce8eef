"""A recording or a folder that changes under an import: refused in one line, and nothing half stored."""

import shutil
from pathlib import Path

import pytest

from tapscan.register.database import open_register
from tapscan.register.files import sha256_of
from tapscan.register.scans import list_scans
from tapscan.settings import Settings
from tapscan.workflow import import_scan as keep
from tests.cli.commands import run
from tests.register import built

pytestmark = pytest.mark.usefixtures("measured_once")


def stored(where: Path) -> list[str]:
    return [e.name for e in list_scans(open_register(where))]


def by_hand(where: Path, tmp_path: Path):
    path = tmp_path / "S1_1.wav"
    path.write_bytes(b"taps")
    return built.screening((sha256_of(path),)), [str(path)]


def test_a_recording_that_changes_on_the_way_is_refused(where, tmp_path):
    screening, paths = by_hand(where, tmp_path)
    Path(paths[0]).write_bytes(b"other taps")
    with pytest.raises(OSError, match="changed while it was being read; nothing was stored"):
        keep.store(open_register(where), "B12", built.new_scan(), screening, Settings(), paths)
    assert len(stored(where)) == 2


@pytest.mark.parametrize(
    "moment",
    [
        "tapscan.workflow.import_scan.store_scan",
        "tapscan.register.scans.store_screening",
        "tapscan.register.scans.find_scan",
    ],
)
def test_the_folder_is_pulled_away_on_the_way(where, tmp_path, monkeypatch, moment):
    """Before the first row, between rows, and after the last."""
    module, name = moment.rsplit(".", 1)
    real = getattr(__import__(module, fromlist=[name]), name)
    away = tmp_path / "away"

    def pulled(*args, **more):
        shutil.move(where, away)
        return real(*args, **more)

    monkeypatch.setattr(moment, pulled)
    screening, paths = by_hand(where, tmp_path)
    with pytest.raises(OSError, match=r"cannot be reached|there is no register"):
        keep.store(open_register(where), "B12", built.new_scan(), screening, Settings(), paths)
    monkeypatch.undo()
    assert not where.exists()
    shutil.move(away, where)
    names = stored(where)
    assert names[:1] == ["B12/2026-03-14"] and "B12/2026-06-01" in names
    assert len(names) in (2, 3)
    assert run("register", "check", "--register", where).status == 0
