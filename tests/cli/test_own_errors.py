"""What a person sees when tapscan itself goes wrong: one line, no traceback, and how to report it."""

import pytest

from tapscan.cli import TRACE, app, main
from tests.snapshots import same_as_before


def _broken() -> None:
    raise ValueError("array must not contain infs\nor NaNs")


@pytest.fixture
def broken(monkeypatch):
    monkeypatch.setattr(app, "app", _broken)


def test_an_error_of_its_own_is_one_line_that_says_what_to_do(broken, monkeypatch, capsys):
    monkeypatch.delenv(TRACE, raising=False)
    with pytest.raises(SystemExit) as ended:
        main()
    (line,) = capsys.readouterr().err.splitlines()
    assert ended.value.code == 1
    assert "ValueError" in line and TRACE in line
    same_as_before("own-error", line)


def test_the_place_is_shown_to_whoever_asks(broken, monkeypatch):
    monkeypatch.setenv(TRACE, "1")
    with pytest.raises(ValueError, match="infs"):
        main()
