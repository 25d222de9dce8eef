"""The tests' own means can fail: rows that fail are all told, no rows is a failure, other words are a difference."""

from pathlib import Path

import pytest

from tests.every import RowsFailedError, each
from tests.snapshots import FOLDER, REWRITE, same_as_before, without_figures


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


def test_every_snapshot_is_held_by_a_test():
    sources = "".join(p.read_text(encoding="utf-8") for p in Path(__file__).parents[1].rglob("test_*.py"))
    sources += Path(__file__).parents[1].joinpath("compared.py").read_text(encoding="utf-8")
    assert [p.name for p in FOLDER.iterdir() if f'"{p.stem}"' not in sources] == []
