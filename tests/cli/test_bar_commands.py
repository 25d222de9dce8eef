"""The reference bar by commands: imported with a scan, listed, noted. Recordings are simulated."""

import json
from pathlib import Path

import pytest

from tests.cli.commands import run, screens
from tests.register.recording_child import LAYOUT
from tests.register.test_bar import bar_file, plate_file
from tests.snapshots import same_as_before

MORE = ("--order", "soft,hard", "--state", "stripped", "--sensor", "microphone", "--yes", "--partial")
pytestmark = pytest.mark.usefixtures("measured_once")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    (tmp_path / "three.toml").write_text(LAYOUT)
    assert run("plate", "add", "B12").status == 0
    return tmp_path


def imported(folder: Path, *words: object):
    plate = plate_file(folder, "plate.wav", 1)
    return run("scan", "import", "B12", plate, "--layout", folder / "three.toml", *MORE, *words)


def test_a_bars_day(folder):
    told = screens(("bar", "list"))
    first, last = bar_file(folder, "a.wav"), bar_file(folder, "b.wav", seed=2)
    done = imported(
        folder, "--date", "2026-03-14", "--bar", first, "--bar-last", last, "--iron-c", "18", "--iron-end-c", "18,4"
    )
    assert done.status == 0, done.err
    shown = screens(("scan", "show", "B12/2026-03-14")).partition("\n\n")[0]
    assert "tapped before and after" in shown
    same_as_before("scan-show", shown, part="with a reference bar")
    scan = json.loads(run("scan", "show", "B12/2026-03-14", "--json", "-").out)
    assert (scan["bar"]["drift"]["seen"], scan["bar"]["drift_reason"]) == ([], None)
    size = "450 x 35 x 11"
    note = ("bar", "note", "reference bar", "--notes", size)
    told += screens(("bar", "list"), note, ("bar", "show", "reference bar"), ("bar", "show", "other"), measured=True)
    bar = run("bar", "show", "reference bar").out
    assert size in bar and bar.count("3 of 3") == 2
    assert run("bar", "show", "other").status == 1
    same_as_before("bar", told, part="list, note and show")


def test_a_bar_that_cannot_be_read_stores_nothing(folder):
    done = imported(folder, "--bar", folder / "nowhere.wav")
    assert done.status == 1
    assert "nowhere.wav" in done.err
    assert "No scans yet" in run("plate", "show", "B12").out


def test_a_bars_name_without_a_bar_is_told(folder):
    for done in (imported(folder, "--bar-name", "flat"), run("scan", "record", "B12", "--bar-name", "flat")):
        assert done.status != 0
        assert "--bar-name" in done.err
    assert "No scans yet" in run("plate", "show", "B12").out


def test_several_bars_want_a_name(folder):
    for name in ("flat", "square"):
        assert run("bar", "note", name, "--notes", "steel").status == 0
    done = imported(folder, "--bar", bar_file(folder, "a.wav"))
    assert done.status != 0
    assert "--bar-name" in done.err
    assert imported(folder, "--bar", bar_file(folder, "a.wav"), "--bar-name", "Flat").status == 0
    assert "3 of 3" in run("bar", "show", "flat").out
