"""`tapscan plate` and `tapscan register`: what they say, what they refuse, and that no traceback shows."""

import csv
import shlex
import subprocess
import sys
from collections import defaultdict
from pathlib import Path

import pytest

from tapscan.register.database import open_register
from tapscan.register.plates import find_plate
from tests.cli.commands import run, screens
from tests.snapshots import same_as_before

JPEG = b"\xff\xd8\xff"  # how one begins


@pytest.fixture
def where(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    monkeypatch.setenv("COLUMNS", "120")
    return tmp_path


def test_a_plates_life(where):
    photo = where / "front.jpg"
    photo.write_bytes(JPEG)
    told = screens(
        ("plate", "add", "B12", "--pattern", "parlour grand", "--mass-kg", "104,5", "--photo", photo),
        *(("plate", "list"), ("plate", "show", "b")),
    )
    register = open_register(where / "register")
    plate = find_plate(register, "B12")
    assert (plate.pattern, plate.mass_kg, plate.photos[0].name) == ("parlour grand", 104.5, "front.jpg")
    told += screens(
        ("plate", "edit", "B12", "--name", "B13", "--mass-kg", "unknown", "--notes", "from a barn"),
        *(("plate", "show", "B13"), ("plate", "retire", "B13", "--why", "scrapped", "--on", "2026-06-02")),
        *(("plate", "list"), ("plate", "list", "--retired")),
    )
    plate = find_plate(register, "B13")
    assert (plate.mass_kg, plate.notes, plate.retired_why) == (None, "from a barn", "scrapped")
    told += screens(("plate", "retire", "B13", "--undo"), ("plate", "list"))
    assert find_plate(register, "B13").retired_on is None
    same_as_before("plate", told, {str(where): "FOLDER", "FOLDER\\": "FOLDER/"})


REFUSED = [
    ("plate", "add", " "),
    ("plate", "add", "b12"),
    ("plate", "add", "B/12"),
    ("plate", "add", "../../x"),
    ("plate", "edit", "B12", "--name", "B/12"),
    ("plate", "add", "X", "--mass-kg", "140000"),
    ("plate", "add", "X", "--mass-kg", "heavy"),
    ("plate", "show", "Z9"),
    ("plate", "edit", "B12"),
    ("plate", "edit", "B1", "--notes", "x"),
    ("plate", "baseline", "B12", "2026-03-14"),
    ("plate", "baseline", "B12", "yesterday"),
    ("plate", "retire", "B12", "--on", "2999-01-01"),
    ("plate", "retire", "B12", "--on", "14.3.2026"),
    ("scan", "show", "B12/2026-13-14"),
    ("scan", "edit", "B12/2026-03-14"),
    ("compare", "B12"),
    ("register", "export", "out.csv"),
    ("register", "backup", "no/such/place"),
]


def test_a_mistake_is_one_line_that_says_what_would_mend_it(where, monkeypatch):
    monkeypatch.chdir(where)
    run("plate", "add", "B12")
    told, statuses = [], defaultdict(list)
    for words in REFUSED:
        done = run(*words)
        statuses[done.status].append(words)
        assert done.out == "", words
        (line,) = done.err.splitlines()
        assert line.startswith("tapscan: "), words
        told += ["$ tapscan " + shlex.join(words), line.replace("\\", "/"), ""]
    done_not = {("plate", "add", "b12"), ("plate", "show", "Z9"), ("plate", "edit", "B1", "--notes", "x"), ("plate", "baseline", "B12", "2026-03-14"), ("compare", "B12"), ("register", "backup", "no/such/place")}  # fmt: skip
    assert set(statuses[1]) == done_not, "what is typed as it may be, and could not be done"
    assert set(statuses[2]) == set(REFUSED) - done_not
    assert run("plate", "list").out.count("B12") == 1
    same_as_before("plate-mistakes", "\n".join(told), {where.as_posix(): "FOLDER"})


@pytest.mark.parametrize(
    "words", [("plate", "list"), ("scan", "list"), ("register", "check"), ("history", "B12"), ("compare", "B12")]
)
def test_looking_makes_no_register(where, words):
    done = run(*words)
    assert done.status == 1
    same_as_before("no-register", done.err, {str(where): "FOLDER", "FOLDER\\": "FOLDER/"})
    assert list(where.iterdir()) == []


def test_the_register_is_the_folder_named_first(where):
    assert run("plate", "add", "B12", "--register", where / "other").status == 0
    assert (where / "other" / "register.sqlite").is_file()
    assert not (where / "register").exists()


def test_without_a_word_the_register_lies_in_the_users_data_folder(tmp_path):
    code = "from tapscan.cli.options import folder_of; print(folder_of(None))"
    env = {"HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path / "data"), "PATH": "", "LOCALAPPDATA": str(tmp_path)}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=env, check=True)
    assert Path(done.stdout.strip()).is_relative_to(tmp_path)
    assert "tapscan" in done.stdout


@pytest.mark.parametrize("name", [".x", "=1+1", "[bold]x", 'O\'Neil "x"; --', "🎹"])
def test_odd_names_are_shown_as_they_are(where, name):
    assert run("plate", "add", name).status == 0
    assert name in run("plate", "list").out
    assert f"Plate {name}" in run("plate", "show", name).out
    assert run("register", "export", where / "out").status == 0
    with (where / "out" / "plates.csv").open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert row["plate"] == ("'" + name if name == "=1+1" else name)
    assert sorted(p.name for p in where.iterdir()) == ["out", "register"]


def test_check_backup_and_export_say_where(where):
    (where / "front.jpg").write_bytes(JPEG)
    run("plate", "add", "B12", "--photo", where / "front.jpg")
    copy = where / "copy"
    told = screens(("register", "check"), ("register", "backup", copy), ("register", "check", "--register", copy))
    assert run("register", "check", "--register", copy).status == 0
    assert run("register", "export", where / "all.json").status == 0
    (photo,) = (p for p in (where / "register" / "files").rglob("*") if p.is_file())
    photo.unlink()
    assert run("register", "check").status == 1
    told += screens(("register", "check"))
    same_as_before("register-check", told, {str(where): "FOLDER", "FOLDER\\": "FOLDER/"}, part="whole and damaged")
