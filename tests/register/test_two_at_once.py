"""Several processes store into one register at the same time: every scan is there, once, and whole."""

import subprocess
import sys
from pathlib import Path

from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.register.upkeep import check_register

ROOT = Path(__file__).parents[2]
CODE = """
import sys
from pathlib import Path
from tapscan.errors import BadRequest
from tapscan.register.database import open_register
from tests.register.conftest import put
register = open_register(Path(sys.argv[1]))
print("ready", flush=True)
sys.stdin.readline()
for i in range(int(sys.argv[3])):
    try:
        print(put(register, f"{sys.argv[2]} {i}".encode()).name)
    except BadRequest as problem:
        print(problem)
"""


def at_once(folder: Path, labels: list[str], scans: int) -> list[list[str]]:
    command = [sys.executable, "-c", CODE, str(folder)]
    running = [
        subprocess.Popen(
            [*command, label, str(scans)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT
        )
        for label in labels
    ]
    for one in running:
        assert one.stdout is not None and one.stdout.readline() == "ready\n"
    for one in running:
        assert one.stdin is not None
        one.stdin.write("go\n")
        one.stdin.flush()
    told = [one.communicate(timeout=120)[0].splitlines() for one in running]
    assert [one.returncode for one in running] == [0] * len(running)
    return told


def test_different_scans_at_once_are_all_stored(register):
    told = at_once(register.folder, ["a", "b", "c"], 8)
    entries = list_scans(register)
    assert sorted(name for names in told for name in names) == sorted(e.name for e in entries)
    assert [e.number for e in entries] == list(range(1, 25))
    assert check_register(register).wrong == ()
    assert all(len(load_screening(register, e.current.id).scan.modes) == 6 for e in entries)


def test_the_same_recordings_at_once_are_stored_once(register):
    told = at_once(register.folder, ["same", "same"], 5)
    assert len(list_scans(register)) == 5
    refused = [line for lines in told for line in lines if "already stored" in line]
    assert len(refused) == 5
