"""`tapscan pattern`, and `tapscan check --pattern`."""

import json
from pathlib import Path

import pytest
from msgspec.structs import replace

from tapscan.cli.history import _among
from tapscan.register.database import make_register, open_register
from tapscan.register.references import list_sets
from tapscan.screening.pattern.among_sisters import beside_pattern
from tapscan.screening.pattern.references import reference_of
from tapscan.settings import Settings
from tapscan.workflow import pattern as p
from tests.cli.commands import flat, run, screens
from tests.register.castings_in_register import put_casting
from tests.snapshots import same_as_before, without_figures
from tests.unit.castings import casting, severed

TAPS = sorted(Path("reference_recordings/simulated/sound-parlour-grand").glob("*.flac"))


@pytest.fixture
def folder(tmp_path):
    register = make_register(tmp_path / "register")
    for number in range(1, 5):
        put_casting(register, f"G{number}", casting(number))
    put_casting(register, "G5", casting(5, severed()), "Small  Grand")
    return register.folder


def test_list_and_show_name_the_plate_that_is_unlike_the_others(folder):
    listed = run("pattern", "list", "--register", folder)
    assert listed.status == 0 and "small grand" in listed.out and " 5 " in listed.out
    shown = run("pattern", "show", "SMALL grand", "--register", folder)
    (odd,) = [line for line in shown.out.splitlines() if "unlike the others" in line]
    assert shown.status == 0 and odd.startswith("G5/")


def test_a_set_goes_from_one_shop_to_another(folder, tmp_path):
    path, other = tmp_path / "ours.json", tmp_path / "other"
    done = run("pattern", "export", "small grand", path, "--owner", "an invented shop", "--register", folder)
    assert done.status == 0 and json.loads(path.read_text())["owner"] == "an invented shop"
    make_register(other)
    assert run("pattern", "import", path, "--register", other).status == 0
    assert [s.plates for s in list_sets(open_register(other))] == [5]
    assert "small grand (5)" in flat(run("pattern", "list", "--register", other).out)


def test_mistakes_get_one_line(folder, tmp_path):
    bad = tmp_path / "bad.json"
    bad.write_text('{"format": "tapscan reference set", "schema": 1, "sha256": "' + "0" * 64 + '"}')
    for words in (
        ("show", "no such"),
        ("export", "no such", tmp_path / "x.json"),
        ("export", "small grand", tmp_path / "nowhere" / "x.json"),
        ("import", bad),
        ("import", tmp_path / "gone.json"),
        ("import", tmp_path),
    ):
        done = run("pattern", *words, "--register", folder)
        assert done.status == 1 and done.err.count("\n") == 1 and done.err.startswith("tapscan: "), (words, done)


def test_an_empty_register_says_how_to_name_a_pattern(tmp_path):
    make_register(tmp_path / "register")
    assert "--pattern" in run("pattern", "list", "--register", tmp_path / "register").out


def test_check_beside_a_pattern_with_too_little_in_common_is_not_run(folder):
    done = run("check", *TAPS, "--pattern", "small grand", "--sensor", "contact", "--json", "-", "--register", folder)
    said = json.loads(done.out)
    assert done.status == 0 and said["pattern"]["pattern"] == "small grand" and said["pattern"]["used"] == []
    (why,) = [r["reason"] for r in said["rules_not_run"] if r["rule"] == "unlike-its-pattern"]
    assert "needs three" in why and said["pattern"]["unlike"]["reason"]
    assert all(s["left_out"] for s in said["pattern"]["sisters"])


def test_check_without_a_pattern_says_so_and_a_wrong_name_stops_first(folder):
    done = run("check", "no-such-file.wav", "--pattern", "no such", "--register", folder)
    assert done.status == 1 and "no such" in done.err and "small grand" in done.err


def test_history_tells_where_the_plate_lay_among_the_others(folder):
    register = open_register(folder)
    base = casting(0)
    plate = replace(reference_of("G0", base, "contact"), state="stripped")
    found = beside_pattern("small grand", plate, base, p.references_of(register, "small grand"), Settings())
    put_casting(register, "G0", base, among=found)
    assert found.unlike.value is not None
    (line,) = [line for line in screens(("history", "G0", "--register", folder)).splitlines() if "small grand" in line]
    few = beside_pattern("small grand", plate, base, [], Settings())
    assert f"{few.rules_not_run[0].reason}" in _among(few) and "0 " not in _among(few)
    assert "among 4 other plates" in line and f"{found.unlike.value:.2f} times" in line
    same_as_before("history", without_figures(line), part="beside its pattern")
