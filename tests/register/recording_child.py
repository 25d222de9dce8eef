"""Run by test_recording.py: a scan recorded from a file, each strike said as soon as it is shown; its parent kills it.

python -m tests.register.recording_child     reads lines `REGISTER|LAYOUT|SOUND`, one recording each in a process of its own: `begun PID`, `accepted HASH`, `ended`
"""

import datetime as dt
import os
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import soundfile

from tapscan.records import ScanConditions
from tapscan.register.database import open_register
from tapscan.register.entries import NewScan
from tapscan.register.unfinished import find_unfinished
from tapscan.settings import Settings
from tapscan.workflow.record import Recorder, begin_recording

LAYOUT = """
name = "three"
kind = "grand"
note = "three places"
[[station]]
name = "S1"
where = "strut"
x = 0.2
y = 0.5
[[station]]
name = "S2"
where = "rim"
x = 0.5
y = 0.5
[[station]]
name = "S3"
where = "tail"
x = 0.8
y = 0.5
"""


def say(*words: object) -> None:
    """A line in one write: a process killed between two (Python may write each word by itself) leaves half a line, to which the next one is joined."""
    os.write(1, (" ".join(map(str, words)) + "\n").encode())


def record(folder: str, layout: str, sound: str, pause_s: float = 0.0) -> None:
    """Says `begun PID`, then `accepted HASH` for each strike."""
    register = open_register(Path(folder))
    facts = NewScan(dt.date(2026, 3, 14), ScanConditions(state="stripped"))
    unfinished = begin_recording(register, "B12", facts, layout, ("soft", "hard"))
    samples, rate = soundfile.read(sound)
    recorder = Recorder(register, unfinished, rate, Settings())
    say("begun", os.getpid())
    for start in range(0, len(samples), rate // 50):
        for event in recorder.hear(samples[start : start + rate // 50]):
            if event.what == "accepted":
                say("accepted", find_unfinished(register, recorder.id).kept[-1].file.sha256)
        time.sleep(pause_s)


def serve(record: Callable[..., None]) -> None:
    """Modules are loaded once; each recording is a fork."""
    for line in sys.stdin:
        pid = os.fork()
        if pid == 0:
            record(*line.strip().split("|"))
            os._exit(0)
        os.waitpid(pid, 0)
        say("ended")


if __name__ == "__main__":
    serve(partial(record, pause_s=0.001))
