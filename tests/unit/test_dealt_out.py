"""Tests are dealt out so that those that wait begin at once, each kind in a process of its own, and none is lost or done twice."""

from types import SimpleNamespace
from typing import Any

from tests.dealt_out import dealt_out
from tests.every import each

COUNTS = {"audio": 10, "cli": 80, "page": 30, "register": 70, "truth": 60, "unit": 250}
TESTS: list[Any] = [
    SimpleNamespace(nodeid=f"tests/{kind}/test_it.py::{i}") for kind, n in COUNTS.items() for i in range(n)
]


@each("processes", [2, 3, 4, 8])
def test_those_that_wait_begin_the_first_shares_and_none_is_lost(processes: int) -> None:
    dealt = [t.nodeid for t in dealt_out(TESTS, processes)]
    assert sorted(dealt) == sorted(t.nodeid for t in TESTS)
    begins = [dealt[k * len(dealt) // processes].split("/")[1] for k in range(2)]
    assert begins == (["audio", "page"] if processes > 2 else ["audio", begins[1]])
    for kind in COUNTS:
        assert [n for n in dealt if f"/{kind}/" in n] == [t.nodeid for t in TESTS if f"/{kind}/" in t.nodeid]


def test_one_process_keeps_the_order_of_the_folders() -> None:
    assert dealt_out(TESTS, 1) == TESTS
