"""The script that holds two versions against each other sees every kind of difference, and only where there is one."""

import copy

import pytest

from bench.same_numbers import compared, ignored

ANSWER = {"modes": [{"f": 100.0, "note": None}, {"f": 200.0, "note": "A"}], "n": 3, "flag": True}


def changed(edit):
    other = copy.deepcopy(ANSWER)
    edit(other)
    return compared({"a": ANSWER}, {"a": other}, 1e-9)


def test_equal_answers_differ_nowhere():
    assert compared({"a": ANSWER}, {"a": copy.deepcopy(ANSWER)}, 0.0) == {}


@pytest.mark.parametrize(
    ("edit", "path"),
    [
        (lambda o: o["modes"][1].update(f=200.0 * (1 + 1e-8)), "modes[].f"),
        (lambda o: o["modes"][0].update(f=None), "modes[].f"),
        (lambda o: o["modes"][1].update(note="B"), "modes[].note"),
        (lambda o: o["modes"].pop(), "modes (length)"),
        (lambda o: o.update(more=1), "more (new)"),
        (lambda o: o.pop("n"), "n (gone)"),
        (lambda o: o.update(flag=1), "flag"),
    ],
)
def test_each_kind_of_difference_is_seen(edit, path):
    assert list(changed(edit)) == [path]


def test_the_tolerance_is_relative():
    assert changed(lambda o: o["modes"][1].update(f=200.0 * (1 + 1e-10))) == {}


def test_an_answer_that_is_missing_on_one_side_or_both_is_told():
    assert "n (gone)" in compared({"a": ANSWER}, {"a": {"no answer": "status 1"}}, 0.0)
    failed = {"no answer": "status 1"}
    assert list(compared({"a": failed}, {"a": failed}, 0.0)) == ["no answer"]


def test_a_named_path_covers_what_lies_below_it_and_no_other():
    assert ignored("modes[].f", ["modes"]) and ignored("modes (length)", ["modes"])
    assert not ignored("modes_more", ["modes"])
