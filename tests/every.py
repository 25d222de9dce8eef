"""One property over many rows: one test that goes through all of them and tells every row that fails.

`@each` is written like `pytest.mark.parametrize`. Use it where the rows are cheap and say one thing (a table of a standard, all modules, all
thresholds); keep `parametrize` where a case is a behaviour of its own or takes longer than a second. Rows that take a while to gather are given by a function:
it is called when the test runs, not in every process that collects it.
"""

import functools
import inspect
from collections.abc import Callable, Iterable
from typing import Any

import pytest

PARAM = type(pytest.param())  # rows may be written as `pytest.param(..., id=...)`


class RowsFailedError(AssertionError):
    """Rows that failed, each with its label and what it said."""

    def __init__(self, told: list[str], of: int) -> None:
        super().__init__(f"{len(told)} of {of} rows fail:\n" + "\n".join(told))


def each(
    names: str | tuple[str, ...],
    rows: Iterable[Any] | Callable[[], Iterable[Any]],
    ids: Callable[[Any], Any] | None = None,
) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Run the test for every row, in one test; no rows at all is a failure too."""
    single = isinstance(names, str)
    wanted = (names,) if isinstance(names, str) else names

    def gathered(rows: Iterable[Any]) -> list[tuple[Any, ...]]:
        given = [row.values if isinstance(row, PARAM) else (row,) if single else tuple(row) for row in rows]
        return [tuple(values) for values in given]

    ready = None if callable(rows) else gathered(rows)

    def around(test: Callable[..., None]) -> Callable[..., None]:
        signature = inspect.signature(test)

        @functools.wraps(test)
        def all_rows(**fixtures: Any) -> None:
            kept = gathered(rows()) if callable(rows) else ready
            assert kept, "no row to go through"
            told = [
                found for row in kept if (found := _failure(test, fixtures, dict(zip(wanted, row, strict=True)), ids))
            ]
            if told:
                raise RowsFailedError(told, len(kept))

        others = [p for name, p in signature.parameters.items() if name not in wanted]
        assert len(others) + len(wanted) == len(signature.parameters), f"{test.__name__} lacks one of {wanted}"
        all_rows.__signature__ = signature.replace(parameters=others)  # type: ignore[attr-defined]
        return all_rows

    return around


def _failure(
    test: Callable[..., None], fixtures: dict[str, Any], row: dict[str, Any], ids: Callable[[Any], Any] | None
) -> str | None:
    """What the row said when it failed; `pytest.fail` and `pytest.raises` end in an outcome, which is no `Exception`."""
    try:
        test(**fixtures, **row)
    except (Exception, pytest.fail.Exception) as problem:
        label = ", ".join(f"{name}={ids(value) if ids else repr(value)[:80]}" for name, value in row.items())
        return f"- {label}: {type(problem).__name__} at {_place(problem, test)}: {problem}"
    return None


def _place(problem: BaseException, test: Callable[..., None]) -> str:
    """File and line of the test's own frame, where one is left."""
    file = inspect.getsourcefile(test)
    step, line = problem.__traceback__, 0
    while step is not None:
        if step.tb_frame.f_code.co_filename == file:
            line = step.tb_lineno
        step = step.tb_next
    return f"{test.__name__}:{line}"
