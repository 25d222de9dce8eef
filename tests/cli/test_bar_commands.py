"""The reference bar by commands: imported with a scan, listed, noted. Recordings are simulated."""

import json
from pathlib import Path

import pytest

from tests.cli.commands import flat, run
from tests.register.recording_child import LAYOUT
from tests.register.test_bar import bar_file, plate_file

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
    assert "No reference bar yet" in run("bar", "list").out
    first, last = bar_file(folder, "a.wav"), bar_file(folder, "b.wav", seed=2)
    done = imported(
        folder, "--date", "2026-03-14", "--bar", first, "--bar-last", last, "--iron-c", "18", "--iron-end-c", "18,4"
    )
    assert done.status == 0, done.err
    assert "reference bar" in run("bar", "list").out
    shown = flat(run("scan", "show", "B12/2026-03-14").out)
    assert "struck before and after" in shown
    assert "18.4 °C at the other end" in shown
    told = json.loads(run("scan", "show", "B12/2026-03-14", "--json", "-").out)
    assert (told["bar"]["drift"]["seen"], told["bar"]["drift_reason"]) == ([], None)
    assert run("bar", "note", "reference bar", "--notes", "450 x 35 x 11").status == 0
    bar = run("bar", "show", "reference bar").out
    assert "450 x 35 x 11" in bar
    assert bar.count("3 of 3") == 2
    missing = run("bar", "show", "other")
    assert (missing.status, "there is reference bar" in missing.err) == (1, True)


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
