"""Run by test_recording_notes.py: keys recorded from a file, each note said as soon as it is shown; its parent kills it.

python -m tests.register.notes_child     reads lines `REGISTER|SOUND|KEYS`, one recording each in a process of its own: `begun PID`, `accepted HASH`, `ended`
"""

import os
import time
from pathlib import Path

import soundfile

from tapscan.register.database import open_register
from tapscan.register.unfinished import find_unfinished
from tapscan.settings import Settings
from tapscan.workflow.record_notes import NoteRecorder, begin_notes
from tests.register.recorded_notes import facts
from tests.register.recording_child import say, serve


def record(folder: str, sound: str, keys: str) -> None:
    """Says `begun PID`, then `accepted HASH` for each note."""
    register = open_register(Path(folder))
    unfinished = begin_notes(register, "B12", facts(), keys.split(","))
    samples, rate = soundfile.read(sound)
    recorder = NoteRecorder(register, unfinished, rate, Settings())
    say("begun", os.getpid())
    for start in range(0, len(samples), rate // 20):
        for event in recorder.hear(samples[start : start + rate // 20]):
            if event.what == "accepted":
                say("accepted", find_unfinished(register, recorder.id).kept[-1].file.sha256)
        time.sleep(0.005)


if __name__ == "__main__":
    serve(record)
