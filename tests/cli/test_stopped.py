"""Ctrl-C ends the program wherever it comes, also where Python itself drops what is raised."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.snapshots import same_as_before

BEGIN = """
import signal, sys, time, weakref
from types import ModuleType
signal.signal(signal.SIGINT, signal.default_int_handler)
"""
DROPPED = (  # as Python's imports do with a lock that nobody needs any more
    """
class Gone:
    pass
def app():
    gone = Gone()
    last = weakref.ref(gone, lambda _: signal.raise_signal(signal.SIGINT))
    del gone
    time.sleep(60)
"""
)
TURNED = """
class Field:
    def __set_name__(self, owner, name):
        signal.raise_signal(signal.SIGINT)
def app():
    class Settings:
        field = Field()
    time.sleep(60)
"""
PLAIN = """
def app():
    signal.raise_signal(signal.SIGINT)
    time.sleep(60)
"""
LOST = """
def app():
    try:
        signal.raise_signal(signal.SIGINT)
    except BaseException:  # as some library may do
        pass
    time.sleep(60)
"""
END = """
sys.modules["tapscan.cli.app"] = stands_in = ModuleType("tapscan.cli.app")
stands_in.app = app
from tapscan.cli import main
main()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="a signal of its own ends a process there")
@pytest.mark.parametrize("app", [PLAIN, DROPPED, TURNED, LOST], ids=["plain", "dropped", "turned", "lost"])
def test_ctrl_c_is_not_lost(app: str, tmp_path: Path) -> None:
    script = tmp_path / "stopped.py"
    script.write_text(BEGIN + app + END)
    done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, timeout=40, check=False)
    assert (done.returncode, done.stdout) == (1, "")
    same_as_before("stopped", done.stderr)
