"""Run by the tests in a process of its own, since PortAudio keeps what it saw when it began: hear and keep.

python -m tests.audio.hearing SECONDS FOLDER     every clip as a FLAC file; `begun`, then one line a clip
"""

import sys
import time
from pathlib import Path

from tapscan.recording.microphone import Microphone
from tapscan.recording.trigger import Trigger
from tapscan.settings import Settings
from tapscan.workflow.judging import judge


def main(seconds: float, folder: Path) -> None:
    with Microphone("pulse", 48000) as microphone:
        trigger, until = Trigger(microphone.sample_rate_hz, Settings()), time.monotonic() + seconds
        print("begun", flush=True)
        count = 0
        while time.monotonic() < until:
            block = microphone.read(0.1)
            if block is None:
                continue
            for clip in trigger.feed(block.samples, block.lost):
                judged = judge(clip, Settings())
                count += 1
                (folder / f"{count}.flac").write_bytes(judged.content)
                print(f"{clip.at_s:.4f} {judged.refused}", flush=True)
        print(f"lost {microphone.lost}", flush=True)


if __name__ == "__main__":
    main(float(sys.argv[1]), Path(sys.argv[2]))
