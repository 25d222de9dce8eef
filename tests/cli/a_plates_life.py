"""A register with plate B12, one baseline scan and a later one, made once by commands. Recordings are simulated."""

import shutil
from pathlib import Path

import pytest

from tests.cli.commands import run
from tests.shared import once

SIMULATED = Path(__file__).parents[2] / "reference_recordings" / "simulated"
BEFORE, CUT = sorted((SIMULATED / "strut-before").glob("*.flac")), sorted((SIMULATED / "strut-half-cut").glob("*.flac"))
HOW = ("--order", "soft,hard", "--state", "stripped", "--sensor", "contact", "--bare")


@pytest.fixture(scope="session")
def life(tmp_path_factory) -> Path:
    """B12: one baseline scan, and a later one with a strut half cut."""
    return once(tmp_path_factory, "life", _lived) / "register"


def _lived(made: Path) -> None:
    folder = made / "register"
    at = ("--register", folder)
    assert run("plate", "add", "B12", "--mass-kg", "104", *at).status == 0
    for files, date, more in (
        (BEFORE, "2026-03-14", ("--baseline", "--iron-c", "18")),
        (CUT, "2026-06-01", ("--iron-c", "20,0")),
    ):
        done = run("scan", "import", "B12", *files, *HOW, "--date", date, *more, "--yes", *at)
        assert (done.status, done.err) == (0, "")
        assert f"Stored as B12/{date}: 10 recordings in {folder}" in done.out


@pytest.fixture
def where(life: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("COLUMNS", "120")
    monkeypatch.setenv("TAPSCAN_REGISTER", str(shutil.copytree(life, tmp_path / "register")))
    return tmp_path / "register"
