"""A sound device that needs no sound card: PortAudio through ALSA to a PulseAudio sink whose monitor is the input.

In CI these tests fail where the pieces are missing; elsewhere they are skipped and say what is missing.
"""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

NEEDED = ("pulseaudio", "paplay", "pactl")
RATE = 48000


class Sink:
    """A PulseAudio daemon of our own with one sink; what is played into it comes back as the input `pulse`."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.socket = folder, folder / "socket"
        self.env = {
            **os.environ,
            "XDG_RUNTIME_DIR": str(folder),
            "PULSE_SERVER": f"unix:{self.socket}",
            "PULSE_SOURCE": "taps.monitor",
            "PULSE_SINK": "taps",
            "HOME": str(folder),
        }
        self.daemon: subprocess.Popen | None = None

    def start(self) -> None:
        modules = (
            f"module-native-protocol-unix auth-anonymous=1 socket={self.socket}",
            f"module-null-sink sink_name=taps rate={RATE} channels=1 format=float32le",
        )
        command = ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", *(f"--load={m}" for m in modules)]
        self.daemon = subprocess.Popen(command, env=self.env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for _ in range(100):
            done = subprocess.run(
                ["pactl", "list", "short", "sinks"], env=self.env, capture_output=True, text=True, check=False
            )
            if "taps" in done.stdout:
                return
            time.sleep(0.1)
        raise RuntimeError("PulseAudio did not start")

    def stop(self) -> None:
        if self.daemon is not None:
            self.daemon.kill()
            self.daemon.wait()

    def play(self, samples: np.ndarray, name: str = "taps.wav") -> subprocess.Popen:
        path = self.folder / name
        soundfile.write(path, samples, RATE, subtype="FLOAT")
        return subprocess.Popen(["paplay", "--device=taps", "--latency-msec=100", str(path)], env=self.env)


def missing() -> str | None:
    if not sys.platform.startswith("linux"):
        return "PulseAudio is a thing of Linux"
    gone = [name for name in NEEDED if shutil.which(name) is None]
    if gone:
        return f"not installed: {', '.join(gone)} (packages pulseaudio, pulseaudio-utils, libasound2-plugins, libportaudio2)"
    try:
        import sounddevice  # noqa: F401
    except OSError:
        return "not installed: libportaudio2"
    return None


@pytest.fixture
def sink(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Iterator[Sink]:
    if why := missing():
        if os.environ.get("CI"):
            pytest.fail(why)
        pytest.skip(why)
    made = Sink(tmp_path_factory.mktemp("pulse"))
    made.start()
    yield made
    made.stop()
