"""In the piano only what a pickup on the iron heard becomes a baseline, whatever reason is given: import, `plate baseline` and the page have one answer."""

from pathlib import Path

import pytest

from tapscan.register.database import open_register
from tapscan.register.scans import list_scans
from tests.cli.commands import run

TAP = Path(__file__).parents[2] / "reference_recordings" / "real" / "drum-rim-1.flac"
WHY = "a drum's rim"
HOW = ("--state", "strung", "--baseline", "--yes")


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    assert run("plate", "add", "U7").status == 0
    return tmp_path


def test_a_scan_by_microphone_is_stored_and_is_no_baseline_and_the_way_back_is_told(shop):
    done = run("scan", "import", "U7", TAP, *HOW, "--sensor", "microphone", "--although", WHY)
    assert done.status == 0, done.err
    register = open_register(shop / "register")
    (entry,) = list_scans(register)
    assert not entry.baseline and f"tapscan scan edit {entry.name} --sensor contact" in done.err
    for reason in ((), ("--although", WHY)):
        refused = run("plate", "baseline", "U7", entry.name, *reason)
        assert refused.status == 1 and f"`tapscan scan edit {entry.name} --sensor contact`" in refused.err
        assert not list_scans(register)[0].baseline
    assert run("scan", "edit", entry.name, "--sensor", "contact").status == 0
    other = run("plate", "baseline", "U7", entry.name)
    assert other.status == 1 and "pickup" not in other.err, "what is left is the drum's tone"
    assert run("plate", "baseline", "U7", entry.name, "--although", WHY).status == 0
    assert list_scans(register)[0].baseline
