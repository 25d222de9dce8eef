"""In the piano only what a pickup on the iron heard becomes a baseline: the terminal says so, as the page does."""

from pathlib import Path

import pytest

from tapscan.register.database import open_register
from tapscan.register.scans import list_scans
from tests.cli.commands import run

TAP = Path(__file__).parents[2] / "reference_recordings" / "real" / "drum-rim-1.flac"
HOW = ("--state", "strung", "--baseline", "--yes")


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    assert run("plate", "add", "U7").status == 0
    return tmp_path


def test_a_scan_by_microphone_is_stored_and_is_no_baseline_and_the_way_back_is_told(shop):
    done = run("scan", "import", "U7", TAP, *HOW, "--sensor", "microphone")
    assert done.status == 0, done.err
    register = open_register(shop / "register")
    (entry,) = list_scans(register)
    assert not entry.baseline and f"tapscan scan edit {entry.name} --sensor contact" in done.err
    refused = run("plate", "baseline", "U7", entry.name)
    assert refused.status == 1 and "pickup" in refused.err
    assert run("scan", "edit", entry.name, "--sensor", "contact").status == 0
    other = run("plate", "baseline", "U7", entry.name)
    assert other.status == 1 and "pickup" not in other.err, "what is left is the drum's tone"
    assert run("plate", "baseline", "U7", entry.name, "--although", "a drum's rim").status == 0
    assert list_scans(register)[0].baseline
