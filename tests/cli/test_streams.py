"""Streams as a person may leave them: closed, full, or unable to show a sign. The work is done all the same, and told in one line."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.a_plates_life import BEFORE, HOW

pytestmark = pytest.mark.skipif(os.name == "nt", reason="these streams are the shells of other systems")
IMPORT = ("scan", "import", "B12", *map(str, BEFORE[:2]), *HOW, "--again", "--date", "2026-07-01")
DOCUMENT = ("compare", "B12", "--json", "-")


def typed(words: tuple[str, ...], streams: str, **variables: str) -> subprocess.CompletedProcess[bytes]:
    """`streams` : as a shell has them, behind the command."""
    program = (sys.executable, "-m", "tapscan", *words)
    return subprocess.run(
        ["sh", "-c", f'"$@" {streams}', "sh", *program],
        capture_output=True,
        check=False,
        timeout=120,
        env={**os.environ, "PYTHONUNBUFFERED": "", **variables},
        cwd=Path(__file__).parents[2],
    )


def one_line(done: subprocess.CompletedProcess[bytes]) -> str:
    (line,) = done.stderr.decode().splitlines()
    assert "tapscan itself" not in line
    return line


def test_a_document_for_a_closed_output_is_refused(where):
    done = typed(DOCUMENT, ">&-")
    assert done.returncode == 1
    assert "standard output is closed" in one_line(done)


@pytest.mark.parametrize("unbuffered", ["", "1"], ids=["buffered", "unbuffered"])
@pytest.mark.parametrize("words", [("scan", "list"), DOCUMENT], ids=lambda words: words[0])
def test_a_full_output_is_one_line(where, words, unbuffered):
    done = typed(words, ">/dev/full", PYTHONUNBUFFERED=unbuffered)
    assert done.returncode == 1
    assert "cannot be written" in one_line(done)


def test_work_is_done_with_closed_streams(where):
    done = typed((*IMPORT, "--yes"), "<&- >&- 2>&-")
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"B12/2026-07-01" in typed(("scan", "list"), "").stdout


def test_a_closed_input_is_no_terminal(where):
    done = typed(IMPORT, "<&-")
    assert done.returncode == 2
    assert "--yes" in one_line(done)


def test_a_sign_that_cannot_be_shown_stops_nothing(where):
    done = typed((*IMPORT, "--yes"), "", PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"Stored as B12/2026-07-01" in done.stdout
    document = typed(DOCUMENT, "", PYTHONIOENCODING="ascii").stdout
    assert json.loads(document.decode("utf-8"))


def test_who_stops_reading_hears_nothing_of_it(where):
    done = typed(("settings",), "| head -n 1")
    assert done.stderr == b"" and len(done.stdout.splitlines()) == 1
