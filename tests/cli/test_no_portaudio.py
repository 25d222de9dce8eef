"""Without PortAudio there is one line that says how to install it, and everything else works."""

import json
import subprocess
import sys
from pathlib import Path

from tapscan.register.database import make_register
from tapscan.register.entries import Plate
from tapscan.register.plates import add_plate
from tests.cli.commands import Done

ROOT = Path(__file__).parents[2]
WITHOUT = """
import json, sys
from msgspec.structs import astuple
class Gone:
    def find_spec(self, name, path=None, target=None):
        if name == "sounddevice":
            raise OSError("PortAudio library not found")
sys.meta_path.insert(0, Gone())
from tests.cli.commands import run
print(json.dumps([astuple(run(*words)) for words in json.loads(sys.argv[1])]))
"""


def told(*commands: tuple[str, ...]) -> list[Done]:
    """What each of them says, in one process that has no PortAudio."""
    given = [sys.executable, "-c", WITHOUT, json.dumps(commands)]
    done = subprocess.run(given, capture_output=True, text=True, check=True, cwd=ROOT)
    return [Done(*one) for one in json.loads(done.stdout)]


def test_one_line_says_what_is_missing(tmp_path: Path):
    folder = make_register(tmp_path / "register").folder
    add_plate(make_register(folder), Plate("P1"))
    at = ("--register", str(folder))
    *refused, listed = told(("mic",), ("scan", "record", "P1", *at), ("scan", "list", *at))
    for done in refused:
        assert done.status == 1
        (line,) = done.err.splitlines()
        assert "libportaudio2" in line and "scan import" in line
    assert "No scans yet" in listed.out
