"""Run by test_interrupted.py under interrupt.c: imports of a scan, each in a child process that is stopped on its way.

With RECORD=LAYOUT in the environment a scan is recorded from the one sound file instead, and each strike said when it is shown.

python importing.py REGISTER RECORDINGS HOW FIRST STEP     `ready`, then a line a try: number, how it ended, what was said
"""

import ctypes
import gc
import os
import shutil
import signal
import sys
from pathlib import Path

from tapscan.errors import TapscanError
from tapscan.register.database import open_register
from tapscan.register.files import sha256_of
from tapscan.settings import Settings
from tapscan.workflow.import_scan import store
from tests.register import built
from tests.register.recording_child import record

MODES = {"kill": 1, "torn": 2, "full": 3}


def one_import(folder: Path, paths: list[Path]) -> None:
    if layout := os.environ.get("RECORD"):
        record(str(folder), layout, str(paths[0]))
        return
    screening = built.screening(tuple(sha256_of(p) for p in paths), modes=12, stations=4, pictures=1)
    store(open_register(folder), "B12", built.new_scan(), screening, Settings(), [str(p) for p in paths])


def in_a_child(folder: Path, paths: list[Path], mode: int, at: int) -> tuple[int, str]:
    """Exit status (negative: signal), and the count or the error."""
    out, into = os.pipe()
    pid = os.fork()
    if pid == 0:
        shim = ctypes.CDLL(None)
        said, status = "", 0
        shim.interrupt_arm(ctypes.c_long(at), mode)
        try:
            one_import(folder, paths)
        except TapscanError as problem:
            said, status = str(problem), 1
        except BaseException as problem:
            said, status = f"TRACEBACK {problem!r}", 2
        os.write(into, f"{shim.interrupt_count()} {said}".encode())
        os._exit(status)
    os.close(into)
    with os.fdopen(out, "rb") as answer:
        said = answer.read().decode()
    status = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    return status, said


def main(register: str, recordings: str, how: str, first: int, step: int) -> None:
    paths = sorted(Path(recordings).iterdir())
    at, here = first, Path(f"{register}-at-work")
    shutil.copytree(register, here)
    one_import(here, paths)  # modules are loaded and statements compiled before any child begins
    shutil.rmtree(here)
    gc.collect()
    gc.freeze()
    gc.disable()  # a child that looks for garbage copies all memory
    print("ready", flush=True)
    while True:
        shutil.copytree(register, here)
        status, said = in_a_child(here, paths, MODES[how], at)
        here.rename(f"{register}-{how}-{at}")
        print(f"{at}|{status}|{said}", flush=True)
        if status == 0:  # no write was left to be stopped
            return
        assert status in (1, 2, -signal.SIGKILL), status
        at += step


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], sys.argv[3], int(sys.argv[4]), int(sys.argv[5]))
