"""A shop's mistakes and their way back, by commands: void, move, restore, a register that is not where it was."""

import datetime as dt
import json
import shutil
from pathlib import Path

import pytest

from tapscan.register.database import make_register, open_register
from tapscan.register.entries import Finding, Plate
from tapscan.register.files import path_of
from tapscan.register.plates import add_plate, find_plate, list_plates
from tapscan.register.scans import find_scan, list_scans
from tapscan.register.upkeep import check_register
from tapscan.screening.disposition import CONFIRMED
from tapscan.workflow import last_register
from tapscan.workflow.standing import VOID
from tapscan.workflow.write_report import Wish, page_name
from tests.cli.commands import flat, run, screens
from tests.register.conftest import put
from tests.register.test_mending import silent, with_comparison
from tests.snapshots import same_as_before

CRACK = "crack in strut 2, 60 mm"
EXAMINED = ("--found", CRACK, "--method", "magnetic particles", "--by", "A. Person", "--on", "2026-06-03")


@pytest.fixture
def where(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    monkeypatch.chdir(tmp_path)
    made = make_register(tmp_path / "register")
    add_plate(made, Plate("B12"))
    add_plate(made, Plate("B13"))
    return made.folder


def reports(name: str) -> list[str]:
    """The page and the page for a buyer."""
    texts = []
    for more in ((), ("--summary",)):
        assert run("report", name, *more, "--out", "page.html").status == 0
        texts.append(flat(Path("page.html").read_text(encoding="utf-8")))
    return texts


def test_void_and_its_undo(where):
    register = open_register(where)
    first = silent(register, "2026-03-14", baseline=True)
    with_comparison(register, "2026-06-01", [first.name])
    why = "wrong plate on the stand"
    told = screens(
        ("scan", "void", first.name),
        ("scan", "void", first.name, "--reason", why, "--on", "2026-06-02"),
        *(("scan", "list"), ("scan", "show", first.name), ("history", "B12"), ("plate", "show", "B12")),
        *(("compare", "B12", "--against", first.name), ("plate", "baseline", "B12")),
    )
    same_as_before("scan-crossed-out", told)
    assert find_scan(register, first.name).crossed_out
    told = json.loads(run("scan", "show", first.name, "--json", "-").out)
    assert (told["headline"], told["register"]["void_why"]) == (VOID, why)
    assert all(VOID in page and why in page for page in reports(first.name))
    assert run("compare", "B12", "--against", first.name).status == 1
    assert run("compare", "B12").status == 1, "it was the only baseline"
    assert run("scan", "void", first.name, "--undo", "--reason", "x").status == 2
    assert run("scan", "void", first.name, "--undo").status == 0
    assert find_scan(register, first.name) == first
    assert "crossed out" not in run("history", "B12").out


def test_move(where):
    register = open_register(where)
    first = silent(register, "2026-03-14", baseline=True)
    later = with_comparison(register, "2026-06-01", [first.name])
    assert run("scan", "move", first.name, "B13").status == 1, "without a reason"
    told = screens(
        ("scan", "move", first.name, "B13"),
        ("scan", "move", first.name, "B13", "--reason", "this was B13", "--on", "2026-06-02"),
        *(("scan", "show", "B13/2026-03-14"), ("history", "B13"), ("scan", "show", later.name)),
        ("scan", "move", later.name, "B99", "--reason", "x"),
    )
    same_as_before("scan-moved", told, {str(where): "REGISTER"})
    assert [e.name for e in list_scans(register)] == [later.name, "B13/2026-03-14"]
    assert all("comparison does not count" in page for page in reports(later.name))


def test_what_a_person_found_is_on_every_first_screen(where):
    register = open_register(where)
    first = silent(
        register, "2026-03-14", checklist=(Finding("rust-line", "seen", "bass corner"), Finding("repair", "seen"))
    )
    later = silent(register, "2026-06-01")
    seen = "a line of rust (bass corner)"
    assert all(seen in page for page in reports(first.name)), "the buyer reads it too"
    assert seen in flat(run("history", "B12").out)
    assert run("scan", "outcome", first.name, *EXAMINED).status == 0
    for name in (first.name, later.name):
        shown = flat(run("scan", "show", name).out)
        assert CONFIRMED in shown and CRACK in shown, name
        assert all(CONFIRMED in page and CRACK in page for page in reports(name)), name
        said = f"An examination found: {CRACK}"
        assert shown.count(said) == 1 and reports(name)[1].count(said) == 1, "told once"
    assert CRACK in flat(run("history", "B12").out.split("Still open")[1])
    same_as_before("scan-examined", screens(("history", "B12"), ("scan", "show", first.name)))


def test_an_examination_that_found_nothing_is_no_flaw(where):
    first = silent(open_register(where), "2026-03-14")
    words = ("--found", "struts 1 to 4", "--method", "magnetic particles", "--by", "A. Person")
    assert run("scan", "outcome", first.name, *words, "--clean").status == 0
    assert CONFIRMED not in run("scan", "show", first.name).out
    assert "contradict" in run("scan", "outcome", first.name, *words, "--clean", "--part").err


def test_a_baseline_with_a_finding_needs_a_reason(where):
    register = open_register(where)
    flawed, quiet = put(register), silent(register, "2026-03-01")
    assert run("plate", "baseline", "B12", flawed.name).status == 1
    assert not find_scan(register, flawed.name).baseline
    same_as_before("plate-baseline", screens(("plate", "baseline", "B12", flawed.name)), part="although")
    assert run("plate", "baseline", "B12", quiet.name, "--although", "x").status == 0
    assert find_scan(register, quiet.name).baseline_although is None, "nothing spoke against it"
    why = "it rang so when new"
    assert run("plate", "baseline", "B12", flawed.name, "--although", why).status == 0
    assert find_scan(register, flawed.name).baseline_although == why
    assert why in flat(run("scan", "show", flawed.name).out)
    assert run("plate", "baseline", "B12", flawed.name, quiet.name).status == 0, (
        "a reason that is kept is not asked for"
    )
    marked = [find_scan(register, s.name) for s in (flawed, quiet)]
    assert [(s.baseline, s.baseline_although) for s in marked] == [(True, why), (True, None)]
    assert run("plate", "baseline", "B12", flawed.name, "--although", "another").status == 0
    assert find_scan(register, flawed.name).baseline_although == "another"


def test_no_steps_are_spoken_of_where_none_are_shown(where):
    register = open_register(where)
    put(register)
    silent(register, "2026-04-01", baseline=True)
    for words in (("history", "B12"), ("compare", "B12", "--scan", "2026-03-14")):
        done = run(*words)
        assert done.out and "steps" not in done.out and "What to do next" not in done.out, words


def test_one_pattern_of_names_for_pages(where):
    silent(open_register(where), "2026-03-14")
    assert run("report", "B12").status == 0 and run("report", "B12", "--summary").status == 0
    assert sorted(p.name for p in Path().glob("*.html")) == ["B12_2026-03-14-summary.html", "B12_2026-03-14.html"]
    assert page_name("B12/2026-03-14") == Path("B12_2026-03-14.html"), "scan record asks for this one"
    assert page_name("B12/2026-03-14-2", Wish(pdf=True)) == Path("B12_2026-03-14-2.pdf")


# a backup comes back


def test_a_backup_is_restored_whole(where, tmp_path):
    entry = put(open_register(where), pictures=1)
    assert run("register", "backup", tmp_path / "copy").status == 0
    shutil.rmtree(where)
    assert run("register", "restore", tmp_path / "copy").status == 0
    back = open_register(where)
    assert find_scan(back, entry.name) == entry and check_register(back).wrong == ()
    assert not list(tmp_path.glob("*.part"))


def test_nothing_is_overwritten(where, tmp_path):
    put(open_register(where))
    assert run("register", "backup", tmp_path / "copy").status == 0
    before = sorted(p for p in where.rglob("*"))
    for target in (where, tmp_path / "copy"):
        done = run("register", "restore", tmp_path / "copy", "--register", target)
        assert done.status == 1 and "nothing is overwritten" in done.err
    assert sorted(p for p in where.rglob("*")) == before
    done = run("register", "restore", tmp_path / "copy", "--register", tmp_path / "copy" / "inside")
    assert done.status == 1 and "inside the backup" in done.err
    (tmp_path / "empty").mkdir()
    assert run("register", "restore", tmp_path / "empty", "--register", tmp_path / "new").status == 1, "no backup"
    assert run("register", "restore", tmp_path / "copy", "--register", tmp_path / "empty").status == 0


@pytest.mark.parametrize("how", ["changed", "missing"])
def test_a_damaged_file_of_the_backup_is_named_and_not_taken(where, tmp_path, how):
    entry = put(open_register(where))
    assert run("register", "backup", tmp_path / "copy").status == 0
    path = path_of(tmp_path / "copy", entry.files[0].sha256)
    path.chmod(0o644)
    path.write_bytes(b"tapz") if how == "changed" else path.unlink()
    done = run("register", "restore", tmp_path / "copy", "--register", tmp_path / "new")
    assert done.status == 1 and "the recording of B12/2026-03-14" in done.err
    assert not path_of(tmp_path / "new", entry.files[0].sha256).exists()
    assert find_scan(open_register(tmp_path / "new"), entry.name) == entry


# a register that is not where it was


def test_a_register_that_was_moved_is_asked_about_and_not_begun_anew(where, tmp_path):
    assert run("plate", "list").status == 0
    shutil.move(where, tmp_path / "elsewhere")
    for words in (("plate", "list"), ("plate", "add", "B14"), ("scan", "list")):
        done = run(*words)
        assert done.status == 1, words
        (line,) = done.err.splitlines()
        same_as_before("register-gone", line, {str(where): "FOLDER", dt.date.today().isoformat(): "TODAY"})
    assert not where.exists(), "nothing was begun in its place"
    assert run("plate", "list", "--register", tmp_path / "elsewhere").status == 0
    assert last_register.last_register().where == str(tmp_path / "elsewhere")


def test_a_new_one_is_begun_only_when_said_so(where, tmp_path):
    assert run("plate", "list").status == 0
    shutil.move(where, tmp_path / "elsewhere")
    assert run("plate", "add", "B14", "--new").status == 0
    assert [p.name for p, _, _ in list_plates(open_register(where))] == ["B14"]


def test_another_place_does_not_hide_one_that_is_gone(where, tmp_path):
    """A guess at where it may be must not make an empty one there."""
    assert run("plate", "list").status == 0
    shutil.move(where, tmp_path / "elsewhere")
    done = run("plate", "add", "B14", "--register", tmp_path / "guess")
    assert done.status == 1 and str(where) in done.err and not (tmp_path / "guess").exists()


def test_a_place_that_was_not_named_does_not_hide_the_one_in_use(where, tmp_path, monkeypatch):
    assert run("plate", "list").status == 0
    monkeypatch.delenv("TAPSCAN_REGISTER")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    for words in (("plate", "list"), ("plate", "add", "B14")):
        done = run(*words)
        assert done.status == 1 and str(where) in done.err and "--register" in done.err
    assert not (tmp_path / "data").exists()
    assert run("plate", "add", "B14", "--register", tmp_path / "second").status == 0, "one that was named may be begun"


def test_the_first_register_is_made_without_a_question(tmp_path):
    assert run("plate", "add", "B12", "--register", tmp_path / "first").status == 0
    assert last_register.last_register().where == str(tmp_path / "first")
    assert find_plate(open_register(tmp_path / "first"), "B12").name == "B12"


def test_a_note_that_cannot_be_written_or_read_stops_no_work(where, tmp_path, monkeypatch):
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where a folder should be")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(blocked))
    done = run("plate", "list")
    assert done.status == 0 and "could not be noted" in done.err
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "own"))
    assert run("plate", "list").err == ""
    last_register.own_settings_folder().joinpath(last_register.FILE).write_text("{not json")
    assert last_register.last_register() is None and run("plate", "list").status == 0


def test_a_scan_of_the_history_that_was_crossed_out_alone_leaves_no_trend(where):
    entry = silent(open_register(where), "2026-03-14")
    assert run("scan", "void", entry.name, "--reason", "wrong plate").status == 0
    done = run("history", "B12")
    assert done.status == 0 and "crossed out" in done.out
    assert list_scans(open_register(where)) == []


def test_a_scan_whose_examination_found_a_flaw_is_not_crossed_out_and_may_be_moved(where):
    """A confirmed flaw never vanishes."""
    entry = silent(open_register(where), "2026-03-14")
    assert run("scan", "outcome", entry.name, *EXAMINED).status == 0
    done = run("scan", "void", entry.name, "--reason", "wrong plate")
    assert (done.status, done.out) == (1, "")
    assert CRACK in done.err and "scan move" in done.err
    assert not find_scan(open_register(where), entry.name).crossed_out
    done = run("scan", "move", entry.name, "B13", "--reason", "this was B13")
    assert done.status == 1 and "is now B13/2026-03-14" in done.out and "not be read anew" in done.err, "no sound"
    (moved,) = list_scans(open_register(where), "B13")
    assert [o.found for o in moved.outcomes] == [CRACK]
