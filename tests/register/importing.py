"""Run by test_interrupted.py under interrupt.c: imports of a scan in child processes that are stopped on their way.

python -m tests.register.importing     reads lines `REGISTER|RECORDINGS|HOW|FIRST|STEP|LAYOUT`, each done in a process of its own:
                                       `ready`, then a line a try (number, how it ended, what was said), then `ended STATUS`

With a LAYOUT a scan is recorded from the one sound file instead, and each strike said when it is shown.
"""

import ctypes
import gc
import os
import shutil
import signal
import sys
from collections.abc import Callable
from pathlib import Path

from tapscan.errors import TapscanError
from tapscan.register.database import open_register
from tapscan.register.files import sha256_of
from tapscan.settings import Settings
from tapscan.workflow.import_scan import store
from tests.register import built
from tests.register.recording_child import record

MODES = {"kill": 1, "torn": 2, "full": 3}
KILLED = 8  # copies to one that is truly killed


def one_import(folder: Path, paths: list[Path]) -> None:
    if layout := os.environ.get("RECORD"):
        record(str(folder), layout, str(paths[0]))
        return
    screening = built.screening(tuple(sha256_of(p) for p in paths), modes=12, stations=4, pictures=1)
    store(open_register(folder), "B12", built.new_scan(), screening, Settings(), [str(p) for p in paths])


class Watched:
    """A child that is not killed at each write but waits there, while `copy` keeps what a kill would leave: SIGKILL changes no file."""

    def __init__(self, step: int, copy: Callable[[], None]) -> None:
        self.step, self.copy = step, copy
        self.asked, self.ask = os.pipe()
        self.go, self.tell = os.pipe()

    def begin(self, shim: ctypes.CDLL) -> None:
        """In the child."""
        os.close(self.asked)
        os.close(self.tell)
        shim.interrupt_watch(ctypes.c_long(self.step), self.ask, self.go)

    def look(self) -> None:
        """In the parent, until the child has ended."""
        os.close(self.ask)
        os.close(self.go)
        with os.fdopen(self.asked, "rb", buffering=0) as asked, os.fdopen(self.tell, "wb", buffering=0) as tell:
            while asked.read(1):
                self.copy()
                tell.write(b"g")


def in_a_child(folder: Path, paths: list[Path], mode: int, at: int, watched: Watched | None = None) -> tuple[int, str]:
    """Exit status (negative: signal), and the count or the error."""
    out, into = os.pipe()
    pid = os.fork()
    if pid == 0:
        shim = ctypes.CDLL(None)
        said, status = "", 0
        shim.interrupt_arm(ctypes.c_long(at), mode)
        if watched:
            watched.begin(shim)
        try:
            one_import(folder, paths)
        except TapscanError as problem:
            said, status = str(problem), 1
        except BaseException as problem:
            said, status = f"TRACEBACK {problem!r}", 2
        os.write(into, f"{shim.interrupt_count()} {said}".encode())
        os._exit(status)
    os.close(into)
    if watched:
        watched.look()
    with os.fdopen(out, "rb") as answer:
        said = answer.read().decode()
    status = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    return status, said


def sizes(folder: Path) -> list[tuple[str, int]]:
    """Of all files, by the folder they lie in; names may be drawn."""
    return sorted((p.relative_to(folder).parts[0], p.stat().st_size) for p in folder.rglob("*") if p.is_file())


def told(at: int, status: int, said: str = "") -> None:
    print(f"{at}|{status}|{said}", flush=True)


def looked_at(register: str, paths: list[Path], how: str, first: int, step: int) -> None:
    """One child, whose folder is copied at every `step`-th write from `first` on; every KILLED-th copy is compared with what a child leaves that is killed there."""
    here, copies = Path(f"{register}-at-work"), []

    def copy() -> None:
        at = first + step * len(copies)
        copies.append(Path(shutil.copytree(here, f"{register}-{how}-{at}")))
        told(at, -signal.SIGKILL)

    shutil.copytree(register, here)
    status, said = in_a_child(here, paths, MODES[how], first, Watched(step, copy))
    assert status == 0, said
    at = first + step * len(copies)
    here.rename(f"{register}-{how}-{at}")
    told(at, status, said)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # what these say was said before
    for number in range(0, len(copies), KILLED):
        shutil.copytree(register, here)
        assert in_a_child(here, paths, MODES[how], first + step * number)[0] == -signal.SIGKILL
        assert sizes(here) == sizes(copies[number]), number
        shutil.rmtree(here)


def each_anew(register: str, paths: list[Path], how: str, first: int, step: int) -> None:
    """A child for every `step`-th write from `first` on."""
    at, here = first, Path(f"{register}-at-work")
    while True:
        shutil.copytree(register, here)
        status, said = in_a_child(here, paths, MODES[how], at)
        here.rename(f"{register}-{how}-{at}")
        told(at, status, said)
        if status == 0:  # no write was left to be stopped
            return
        assert status in (1, 2), status
        at += step


def stopped(register: str, recordings: str, how: str, first: int, step: int) -> None:
    paths = sorted(Path(recordings).iterdir())
    here = Path(f"{register}-at-work")
    shutil.copytree(register, here)
    one_import(here, paths)  # modules are loaded and statements compiled before any child begins
    shutil.rmtree(here)
    gc.collect()
    gc.freeze()
    gc.disable()  # a child that looks for garbage copies all memory
    print("ready", flush=True)
    (each_anew if how == "full" else looked_at)(register, paths, how, first, step)


def serve() -> None:
    """Modules are loaded once; what is asked for is done in a fork."""
    for line in sys.stdin:
        register, recordings, how, first, step, layout = line.rstrip("\n").split("|")
        pid = os.fork()
        if pid == 0:
            os.environ["RECORD"] = layout
            stopped(register, recordings, how, int(first), int(step))
            os._exit(0)
        print("ended", os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), flush=True)


if __name__ == "__main__":
    serve()
