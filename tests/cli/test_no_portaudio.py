"""Without PortAudio there is one line that says how to install it, and everything else works."""

import subprocess
import sys
from pathlib import Path

from tapscan.register.database import make_register
from tapscan.register.entries import Plate
from tapscan.register.plates import add_plate

WITHOUT = """
import sys
class Gone:
    def find_spec(self, name, path=None, target=None):
        if name == "sounddevice":
            raise OSError("PortAudio library not found")
sys.meta_path.insert(0, Gone())
from tapscan.cli import main
main()
"""


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-c", WITHOUT, *words], capture_output=True, text=True, check=False)


def test_one_line_says_what_is_missing(tmp_path: Path):
    folder = make_register(tmp_path / "register").folder
    add_plate(make_register(folder), Plate("P1"))
    for words in (["mic"], ["scan", "record", "P1", "--register", str(folder)]):
        done = run(*words)
        assert done.returncode == 1
        (line,) = done.stderr.splitlines()
        assert "libportaudio2" in line and "scan import" in line
    assert "No scans yet" in run("scan", "list", "--register", str(folder)).stdout
