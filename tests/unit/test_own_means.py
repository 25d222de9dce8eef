"""The tests' own means can fail: rows that fail are all told, no rows is a failure, other words are a difference."""

import ast
import re
from functools import cache
from pathlib import Path

import pytest

from tests.every import RowsFailedError, each
from tests.snapshots import FOLDER, REWRITE, parts, same_as_before, without_figures


def test_every_failing_row_is_told_whatever_it_fails_with():
    @each("number", range(4))
    def rows(number):
        assert number != 1, "one is wrong"
        if number == 2:
            raise ValueError("two cannot be had")
        if number == 3:
            with pytest.raises(KeyError):
                pass

    with pytest.raises(RowsFailedError) as caught:
        rows()
    told = str(caught.value)
    assert told.startswith("3 of 4 rows")
    assert all(f"number={n}: " in told for n in (1, 2, 3)) and "number=0" not in told
    assert "one is wrong" in told and "ValueError" in told and "DID NOT RAISE" in told


def test_rows_of_several_names_and_under_one_another_are_all_run():
    seen = []

    @each("c", "xy")
    @each(("a", "b"), [(1, 2), (3, 4)])
    def rows(a, b, c):
        seen.append((a, b, c))

    rows()
    assert sorted(seen) == [(1, 2, "x"), (1, 2, "y"), (3, 4, "x"), (3, 4, "y")]


def test_no_rows_is_a_failure():
    @each("number", [])
    def rows(number):
        """Never run."""

    with pytest.raises(AssertionError, match="no row"):
        rows()


def test_other_words_are_a_difference_until_they_are_written_anew(tmp_path, monkeypatch):
    monkeypatch.delenv(REWRITE, raising=False)
    with pytest.raises(AssertionError, match="no snapshot"):
        same_as_before("screen", "a word", folder=tmp_path)
    monkeypatch.setenv(REWRITE, "1")
    same_as_before("screen", "a word in /home/x  \n", {"/home/x": "FOLDER"}, folder=tmp_path)
    assert (tmp_path / "screen.txt").read_text() == "a word in FOLDER\n"
    monkeypatch.delenv(REWRITE)
    same_as_before("screen", "a word in /home/x", {"/home/x": "FOLDER"}, folder=tmp_path)
    with pytest.raises(AssertionError, match=r"the words of screen changed(.|\n)*\+another word"):
        same_as_before("screen", "another word", folder=tmp_path)


def test_tests_of_one_screen_share_a_file_by_parts(tmp_path, monkeypatch):
    monkeypatch.setenv(REWRITE, "1")
    for part, text in (("second", "two"), ("first", "one\n\nmore"), ("second", "two anew")):
        same_as_before("screen", text, folder=tmp_path, part=part)
    whole = "== first\none\n\nmore\n\n== second\ntwo anew\n"
    assert (tmp_path / "screen.txt").read_text() == whole
    monkeypatch.delenv(REWRITE)
    same_as_before("screen", "one\n\nmore", folder=tmp_path, part="first")
    same_as_before("screen", "two anew", folder=tmp_path, part="second")
    with pytest.raises(AssertionError, match=r"the words of screen, first, changed"):
        same_as_before("screen", "one", folder=tmp_path, part="first")
    with pytest.raises(AssertionError, match="no part 'third'"):
        same_as_before("screen", "one", folder=tmp_path, part="third")


def test_figures_are_taken_out_and_names_and_days_stay():
    told, kept = "B12/2026-03-14, S5: \N{MINUS SIGN}3.2 of 80 Hz (± 0.12 %)", "B12/2026-03-14, S5: # of # Hz (± # %)"
    assert without_figures(told) == kept


TESTS = Path(__file__).parents[1]


@cache
def sources() -> dict[str, str]:
    return {p.relative_to(TESTS).as_posix(): p.read_text(encoding="utf-8") for p in TESTS.rglob("*.py")}


def calls_of(tree: ast.AST, name: str) -> list[ast.Call]:
    return [n for n in ast.walk(tree) if isinstance(n, ast.Call) and ast.unparse(n.func) == name]


def asked_for() -> dict[str, list[str]]:
    """Regular expressions of the parts that are asked for, by screen; of the whole file the empty one."""
    found: dict[str, list[str]] = {}
    for text in sources().values():
        tree = ast.parse(text) if "same_as_before(" in text else ast.Module([], [])
        for function in [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)]:
            for call in calls_of(function, "same_as_before"):
                named = {k.arg: k.value for k in call.keywords}
                if "folder" not in named:  # else one of a test's own
                    parts_of = [""] if "part" not in named else names_of(named["part"], tree, function.name)
                    found.setdefault(ast.literal_eval(call.args[0]), []).extend(parts_of)
    return found


def names_of(given: ast.expr, tree: ast.AST, function: str) -> list[str]:
    """One that is handed in stands in this module, or in one that calls the function."""
    if (made := made_up(given)) is not None:
        return [made]
    users = [tree, *(ast.parse(text) for text in sources().values() if f"{function}(" in text)]
    whole = [made_up(n) for one in users for n in ast.walk(one) if isinstance(n, ast.Constant)]
    handed = [made_up(a) for one in users for call in calls_of(one, function) for a in call.args]
    return [name for name in (*whole, *handed) if name and name != ".+"]


def made_up(given: ast.expr) -> str | None:
    """What a text may be; None where that is known only when it runs."""
    match given:
        case ast.Constant(value=str(text)):
            return re.escape(text)
        case ast.JoinedStr():
            return "".join(made_up(v) or ".+" for v in given.values)
        case ast.BinOp(left=left, op=ast.Add(), right=right):
            return f"{made_up(left) or '.+'}{made_up(right) or '.+'}"
        case ast.IfExp():
            return f"({made_up(given.body) or '.+'}|{made_up(given.orelse) or '.+'})"
    return None


def not_asked_for(folder: Path) -> list[str]:
    """Files and parts."""
    asked = asked_for()
    kept = [
        (path.stem, part)
        for path in sorted(folder.iterdir())
        for part in parts(path.read_text(encoding="utf-8")) or [""]
    ]
    return [f"{stem}: {part}" for stem, part in kept if not any(re.fullmatch(one, part) for one in asked.get(stem, ()))]


def test_every_snapshot_and_every_part_of_one_is_held_by_a_test():
    assert not_asked_for(FOLDER) == [], "take out what no test asks for any more"


def test_a_snapshot_that_no_test_asks_for_is_noticed(tmp_path):
    """A file, a part of a file that has others, and a part beside one whose name is made up of what is tested."""
    (tmp_path / "of-a-screen-that-is-gone.txt").write_text("words\n", encoding="utf-8")
    (tmp_path / "history.txt").write_text("== examined\nwords\n\n== in short\nwords\n", encoding="utf-8")
    (tmp_path / "places.txt").write_text("== share 0.2, told from drops\nwords\n\n== share\nwords\n", encoding="utf-8")
    (tmp_path / "report.txt").write_text(
        "== first screen: what a buyer asks, in the report\nwords\n\n== first screen: what a buyer asks, in the\nw\n",
        encoding="utf-8",
    )
    (tmp_path / "comparison.txt").write_text("== low tones damped\nwords\n\n== tones damped\nwords\n", encoding="utf-8")
    gone = [
        "comparison: tones damped",
        "history: in short",
        "of-a-screen-that-is-gone: ",
        "places: share",
        "report: first screen: what a buyer asks, in the",
    ]
    assert not_asked_for(tmp_path) == gone
