"""Check, backup and export: what is missing is said, a copy is whole, a formula is text."""

import csv
import hashlib
import json
import shutil
import threading
from pathlib import Path

import pytest

from tapscan.errors import BadRequest, RegisterProblem
from tapscan.register.database import open_register
from tapscan.register.entries import Plate
from tapscan.register.export import defused
from tapscan.register.files import keep_bytes, path_of
from tapscan.register.plates import add_photo, add_plate
from tapscan.register.results import load_screening
from tapscan.register.scans import find_scan, list_scans
from tapscan.register.upkeep import back_up, check_register, restore
from tapscan.workflow.exports import export_csv, export_json
from tests.ctrl_c import stopped_at_every_step
from tests.every import each
from tests.register import built
from tests.register.conftest import put
from tests.snapshots import same_as_before


def test_a_whole_register_has_nothing_wrong(register, stored):
    stored(pictures=1)
    found = check_register(register)
    assert (found.plates, found.scans, found.files, found.wrong, found.leftover) == (1, 1, 2, (), ())


def damaged(register, sha256: str, how: str) -> None:
    path = path_of(register.folder, sha256)
    if how == "missing":
        path.unlink()
        return
    path.chmod(0o644)
    content = path.read_bytes()
    path.write_bytes(content[:-1] + b"x" if how == "changed" else content[:-1])


@pytest.mark.parametrize(
    ("how", "said"), [("missing", "is missing"), ("changed", "has changed"), ("shorter", "has changed")]
)
def test_a_damaged_recording_is_named_with_its_scan(register, stored, how, said):
    entry = stored()
    damaged(register, entry.files[0].sha256, how)
    (line,) = check_register(register).wrong
    assert said in line
    assert "the recording of B12/2026-03-14" in line


def test_a_damaged_photo_is_named_with_its_plate(register):
    photo = keep_bytes(register.folder, b"photo", "front.jpg")
    add_photo(register, "B12", photo)
    damaged(register, photo.sha256, "missing")
    assert "a photo of B12" in check_register(register).wrong[0]


def test_leftovers_are_harmless_and_named(register, stored):
    stored()
    files = register.folder / "files"
    (files / ".incoming-x.part").write_bytes(b"half")
    kept = keep_bytes(register.folder, b"nobody's", "x.wav")
    (files / "ab").mkdir(exist_ok=True)
    (files / "ab" / "notes.txt").write_text("mine")
    found = check_register(register)
    assert found.wrong == ()
    assert len(found.leftover) == 3
    kinds = ((".incoming-x.part", "unfinished"), (kept.sha256, "no scan or plate"), ("notes.txt", "not a file"))
    for name, kind in kinds:
        assert [kind in line for line in found.leftover if name in line.split(": ")[0]] == [True], name
    same_as_before(
        "register-check", "\n".join(sorted(found.leftover)), {kept.sha256: "SHA256", "\\": "/"}, part="leftovers"
    )


def test_a_ctrl_c_as_a_file_comes_in_leaves_nothing_behind(register):
    """From the moment it is made; what a kill leaves goes a day later, and is named meanwhile."""
    files, whole = register.folder / "files", path_of(register.folder, hashlib.sha256(b"sound").hexdigest())

    def look(step: int) -> None:
        assert {p.name for p in files.rglob("*") if p.is_file()} <= {whole.name}, step
        assert not whole.exists() or whole.read_bytes() == b"sound", step
        whole.unlink(missing_ok=True)

    assert stopped_at_every_step(lambda: keep_bytes(register.folder, b"sound", "x.wav"), look) > 100
    assert whole.read_bytes() == b"sound"


def test_rows_without_their_scan_are_found(register, stored):
    entry = stored()
    with register.writing() as connection:
        connection.exec_driver_sql("DELETE FROM scan_file")
    (line,) = check_register(register).wrong
    assert line.startswith(f"{entry.name}: has no screening")
    same_as_before("register-check", line, part="rows without their scan")


def test_a_damaged_database_is_said_in_one_line(register, stored):
    stored()
    database = register.folder / "register.sqlite"
    content = bytearray(database.read_bytes())
    content[:64] = bytes(64)
    database.write_bytes(content)
    with pytest.raises(RegisterProblem, match="its database is damaged; restore a backup"):
        open_register(register.folder)


def test_a_missing_file_comes_back_with_the_same_recording(register, stored):
    entry = stored(b"taps")
    damaged(register, entry.files[0].sha256, "changed")
    keep_bytes(register.folder, b"taps", "again.wav")
    assert check_register(register).wrong == ()


def test_a_backup_is_a_register_itself(register, stored, tmp_path):
    entry = stored(pictures=2)
    made = back_up(register, tmp_path / "copy")
    copy = open_register(made.folder)
    assert (made.files, made.missing) == (2, ())
    assert check_register(copy).wrong == ()
    assert find_scan(copy, entry.name) == entry
    assert load_screening(copy, entry.current.id) == load_screening(register, entry.current.id)
    assert not list(tmp_path.glob("*.part"))


def test_a_backup_while_scans_come_in_is_consistent(register, stored, tmp_path):
    stored(b"first")
    stop, failed, stored_one = threading.Event(), [], threading.Event()

    def keep_storing() -> None:
        number = 0
        while not stop.is_set():
            try:
                put(register, b"more %d" % number)
            except Exception as problem:
                failed.append(problem)
            number += 1
            stored_one.set()

    def copied(number: int) -> Path:
        stored_one.clear()
        assert stored_one.wait(60), "scans come in"  # a busy machine may let the writer wait longer than a copy takes
        return back_up(register, tmp_path / f"copy{number}").folder

    writer = threading.Thread(target=keep_storing)
    writer.start()
    try:
        copies = [copied(i) for i in range(4)]
    finally:
        stop.set()
        writer.join()
    assert failed == []
    counts = []
    for folder in copies:
        found = check_register(open_register(folder))
        assert found.wrong == ()
        counts.append(found.scans)
    assert counts == sorted(counts)
    assert counts[-1] > counts[0], "scans did come in meanwhile"


def test_a_backup_names_what_was_gone_before(register, stored, tmp_path):
    entry = stored()
    damaged(register, entry.files[0].sha256, "missing")
    made = back_up(register, tmp_path / "copy")
    assert "the recording of B12/2026-03-14" in made.missing[0]
    assert len(list_scans(open_register(made.folder))) == 1


def test_a_backup_goes_nowhere_it_would_harm(register, tmp_path):
    (tmp_path / "there").mkdir()
    for target, said in (
        (tmp_path / "there", "is there already"),
        (register.folder / "inside", "lies inside the register"),
        (tmp_path / "no" / "copy", "there is no such folder"),
    ):
        with pytest.raises(RegisterProblem, match=said):
            back_up(register, target)


@each("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", " =1", "\uff1d1", "\u00a0=1"])
def test_a_formula_becomes_text(text):
    assert defused(text) == "'" + text


@each("value", [-1.5, 3, None, "B12", "a=b", True])
def test_what_is_no_formula_stays(value):
    assert defused(value) is value


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def test_csv_holds_every_row_and_no_formula(register, tmp_path):
    evil = '=HYPERLINK("http://x";"y")'
    add_plate(register, Plate(evil, pattern="@x", notes="-1 kg\n=2"))
    put(register, b"a", plate=evil, operator="+49 30", notes='a "quoted", one')
    put(register, b"b")
    names = export_csv(register, tmp_path / "out")
    assert names == [
        f"{n}.csv"
        for n in (
            "bars",
            "checklist",
            "indications",
            "modes",
            "outcomes",
            "plates",
            "recordings",
            "scans",
            "strikes",
            "visit_looks",
            "visit_outcomes",
            "visits",
        )
    ]
    for name in names:
        with (tmp_path / "out" / name).open(encoding="utf-8-sig", newline="") as file:
            for row in csv.reader(file):
                for cell in row:
                    assert not cell.startswith(("=", "+", "@")), cell
                    assert not cell.startswith("-") or float(cell) < 0
    assert {r["plate"] for r in rows(tmp_path / "out" / "plates.csv")} == {"B12", "'" + evil}
    modes = rows(tmp_path / "out" / "modes.csv")
    expected = built.screening(("0" * 64,)).scan.modes
    assert len(modes) == 2 * len(expected)
    assert [float(m["frequency_hz"]) for m in modes[:6]] == [m.frequency_hz for m in expected]
    assert modes[3]["decay_rate_per_s"] == "", "unknown is empty, not zero"
    (first, _) = sorted(rows(tmp_path / "out" / "scans.csv"), key=lambda r: r["operator"])
    assert first["operator"] == "'+49 30"
    assert first["notes"] == 'a "quoted", one'


def test_csv_goes_into_a_new_folder_only(register, tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "precious.txt").write_text("x")
    with pytest.raises(RegisterProblem, match="already and not empty"):
        export_csv(register, tmp_path / "mine")
    assert [p.name for p in (tmp_path / "mine").iterdir()] == ["precious.txt"]
    with pytest.raises(RegisterProblem, match=r"one without \.json"):
        export_csv(register, tmp_path / "new.json")
    assert not (tmp_path / "new.json").exists()


def test_json_goes_into_a_file_and_not_into_a_folder(register, tmp_path):
    with pytest.raises(RegisterProblem, match=r"is a folder.*register\.json"):
        export_json(register, tmp_path)


def test_json_holds_everything(register, stored, tmp_path):
    entry = stored()
    export_json(register, tmp_path / "all.json")
    (plate,) = json.loads((tmp_path / "all.json").read_text(encoding="utf-8"))["plates"]
    (scan,) = plate["scans"]
    assert (plate["name"], plate["mass_kg"], scan["name"]) == ("B12", 104.5, entry.name)
    assert scan["conditions"]["iron_c"] is None
    assert (
        scan["screening"]["scan"]["modes"][0]["frequency_hz"] == built.screening(("0" * 64,)).scan.modes[0].frequency_hz
    )
    assert len(scan["screening"]["indications"]) == 2


def test_an_export_that_fails_leaves_the_old_file(register, tmp_path, monkeypatch):
    target = tmp_path / "all.json"
    target.write_text("old")
    monkeypatch.setattr(
        "tapscan.register.export._write_json", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device"))
    )
    with pytest.raises(RegisterProblem, match="disk is full"):
        export_json(register, target)
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []


@pytest.mark.parametrize(
    ("what", "where_it_fails"),
    [(back_up, "upkeep._copy_files"), (restore, "upkeep._copy_files"), (export_csv, "export._write")],
    ids=["backup", "restore", "export"],
)
def test_what_fails_on_a_full_disk_leaves_nothing_half_done(register, tmp_path, monkeypatch, what, where_it_fails):
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(f"tapscan.register.{where_it_fails}", full)
    (tmp_path / "elsewhere").mkdir()
    with pytest.raises(RegisterProblem, match="disk is full"):
        what(register.folder if what is restore else register, tmp_path / "elsewhere" / "x")
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_a_folder_pulled_away_is_one_line(register, stored):
    stored()
    away = register.folder.with_name("away")
    shutil.move(register.folder, away)
    for attempt in (lambda: put(register, b"x"), lambda: list_scans(register), lambda: open_register(register.folder)):
        with pytest.raises(RegisterProblem, match=r"cannot be reached|there is no register here"):
            attempt()
    assert not register.folder.exists(), "nothing is made anew in its place"
    (register.folder / "files").mkdir(parents=True)  # the place where a disk was mounted
    for attempt in (lambda: put(register, b"x"), lambda: list_scans(register)):
        with pytest.raises(RegisterProblem, match="cannot be reached"):
            attempt()
    assert not (register.folder / "register.sqlite").exists()
    shutil.rmtree(register.folder)
    shutil.move(away, register.folder)
    assert len(list_scans(register)) == 1
    with pytest.raises(BadRequest, match="already stored"):
        stored()
