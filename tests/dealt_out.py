"""The order in which tests are dealt out to several processes, so that both cores have work from the first minute to the last.

dealt_out(tests, processes)   those that mostly wait, for sound or for a browser, begin a process's share each; small ones fill these shares

`--dist worksteal` gives each process an equal run of the list; who has done all takes from the end of what another has left. In the order of their
folders all processes came to the browser at the end and waited side by side, for a tenth of the whole time.
"""

from collections.abc import Sequence

import pytest

WAITING = (("tests/audio/",), ("tests/page/", "tests/report/test_print.py", "tests/report/test_visit_page.py"))
SMALL = "tests/unit/"


def dealt_out(tests: Sequence[pytest.Item], processes: int) -> list[pytest.Item]:
    """The same tests; those of a file stay in their order."""
    if processes == 1:
        return list(tests)
    small = [t for t in tests if t.nodeid.startswith(SMALL)]
    order: list[pytest.Item] = []
    for number, where in enumerate(WAITING[: processes - 1], 1):
        order += [t for t in tests if t.nodeid.startswith(where)]
        fill = max(0, number * len(tests) // processes - len(order))
        order, small = order + small[:fill], small[fill:]
    dealt = {t.nodeid for t in (*order, *small)}
    return [*order, *(t for t in tests if t.nodeid not in dealt), *small]
