"""Several processes store into one register at the same time: every scan is there, once, and whole."""

import subprocess
import sys
from pathlib import Path

from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.register.upkeep import check_register

ROOT = Path(__file__).parents[2]


def at_once(folder: Path, labels: list[str], scans: int) -> list[str]:
    """What they say of each scan, in the order in which they say it."""
    command = [sys.executable, "-m", "tests.register.storing", str(folder), str(scans), *labels]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True, cwd=ROOT, timeout=120)
    return done.stdout.splitlines()


def test_different_scans_at_once_are_all_stored(register):
    told = at_once(register.folder, ["a", "b", "c"], 8)
    entries = list_scans(register)
    assert sorted(told) == sorted(e.name for e in entries)
    assert [e.number for e in entries] == list(range(1, 25))
    assert check_register(register).wrong == ()
    assert all(len(load_screening(register, e.current.id).scan.modes) == 6 for e in entries)


def test_the_same_recordings_at_once_are_stored_once(register):
    told = at_once(register.folder, ["same", "same"], 5)
    assert len(list_scans(register)) == 5
    refused = [line for line in told if "already stored" in line]
    assert len(refused) == 5
