"""Ctrl-C ends the program wherever it comes, also where Python itself drops what is raised, and one line says what stands."""

import subprocess
import sys
from contextlib import nullcontext
from pathlib import Path
from types import SimpleNamespace

import pytest

from tests.cli.commands import run
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
    assert (done.returncode, done.stdout) == (130, "")
    same_as_before("stopped", done.stderr, part="anywhere")


def stop(*_: object, **__: object) -> None:
    raise KeyboardInterrupt


IMPORT = ("scan", "import", "B12", __file__, "--sensor", "contact")
RECORD = ("scan", "record", "B12", "--state", "stripped", "--sensor", "contact", "--jobs", "1")
IN_A_COMMAND = {  # what is typed, where it comes, and what stands then
    "a check of the register": (("register", "check"), "tapscan.workflow.register.check_register", stop, "anywhere"),
    "an import": ((*IMPORT, "--yes"), "tapscan.workflow.import_scan.check", stop, "an import"),
    "its question": (IMPORT, "tapscan.workflow.import_scan.check", lambda *a: a[3]((), ()), "an import"),
    "the archive": (("register", "rescreen"), "tapscan.workflow.rescreen_all.rescreen", stop, "the archive"),
    "no tap yet": (RECORD, "tapscan.cli.scan_record.record_at", stop, "no tap yet"),
    "one tap": (
        RECORD,
        "tapscan.cli.scan_record.record_at",
        lambda session: stop(session.recorder.guide.taken.append(("S1", "soft"))),
        "one tap",
    ),
}


@pytest.mark.parametrize("case", IN_A_COMMAND)
def test_a_command_says_in_one_line_what_stands(case, where, monkeypatch):
    words, moment, at, stands = IN_A_COMMAND[case]
    monkeypatch.setattr(moment, at)
    monkeypatch.setattr("tapscan.workflow.rescreen_all._has_dask", lambda: False)
    monkeypatch.setattr("tapscan.workflow.rescreen_all._done", lambda *_: False)
    heard = SimpleNamespace(sample_rate_hz=48_000)
    monkeypatch.setattr("tapscan.workflow.mic.Microphone", lambda *_: nullcontext(heard))
    done = run(*words, "--register", where, answer="")  # nothing is typed, which ends a question as Ctrl-C does
    assert done.status == 130
    same_as_before("stopped", done.err, part=stands)
