"""Through a real device path: what was played is what was kept, a whole scan in a terminal, a device that goes and comes back.

Taps are closed forms (tests/sounds.py); their frequencies and decays are the truth.
"""

import os
import pty
import re
import select
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import resample_poly
from threadpoolctl import threadpool_limits

from tapscan.layouts import read_layout
from tapscan.register.database import make_register, open_register
from tapscan.register.entries import Plate
from tapscan.register.plates import add_plate
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.register.unfinished import unfinished_scans
from tapscan.settings import Settings
from tapscan.settings.fit import Fit
from tapscan.signal.notes.strings import key_name
from tapscan.signal.plate.decay import T60_NEPER
from tapscan.signal.plate.station_fit import station_poles
from tests.cli.commands import flat, run
from tests.register.recorded_notes import KEYS, played
from tests.register.recorded_notes import RATE as NOTES_RATE
from tests.sounds import noise, taps_at

RATE = 48000
ROOT = Path(__file__).parents[2]
SHORT = ((412.0, 0.2, 0.10), (655.0, 0.2, 0.1), (1130.0, 0.15, 0.11), (2480.0, 0.1, 0.12))
THREE = ((412.3, 1.2, 0.10), (905.7, 0.9, 0.1), (1722.1, 0.8, 0.1))


def heard(sink, seconds: float, folder: Path, samples: np.ndarray) -> list[str]:
    """What the child that listens says while `samples` are played to it."""
    command = [sys.executable, "-m", "tests.audio.hearing", str(seconds), str(folder)]
    child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT, env=sink.env)
    assert child.stdout is not None
    assert child.stdout.readline() == "begun\n"
    player = sink.play(samples)
    lines = child.stdout.read().splitlines()
    player.wait()
    return lines


def test_frequency_and_decay_of_what_was_played(sink, tmp_path):
    lines = heard(sink, 7, tmp_path, taps_at([1.0], 5.5, RATE, rms=1e-6, modes=THREE))
    assert [line.split()[1] for line in lines] == ["None", "0"], lines
    samples, rate = soundfile.read(tmp_path / "1.flac")
    assert rate == RATE
    onset = round(0.35 * RATE)
    with threadpool_limits(1):
        poles = station_poles([samples[onset:]], [samples[: onset - 200]], RATE, Settings().but(Fit, highest_hz=2500.0))
    for f, t60, _ in THREE:
        pole = min(poles, key=lambda p: abs(p.frequency_hz - f))
        assert abs(pole.frequency_hz / f - 1) < 5e-6
        assert pole.decay_rate_per_s == pytest.approx(T60_NEPER / t60, rel=2e-3)


class Terminal:
    """A command in a pseudo-terminal; what it shows, without the control signs."""

    def __init__(self, command: list[str], env: dict[str, str]) -> None:
        self.pid, self.handle = pty.fork()
        if self.pid == 0:
            os.environ.update(env, TERM="xterm-256color", COLUMNS="100", LINES="30")
            os.execv(command[0], command)
        self.shown = ""

    def read(self, seconds: float) -> str:
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            if select.select([self.handle], [], [], 0.1)[0]:
                try:
                    part = os.read(self.handle, 65536).decode(errors="ignore")
                except OSError:
                    break
                self.shown += re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", part)
        return self.shown

    def until(self, words: str, seconds: float) -> None:
        """Within the last of what was shown, or what comes."""
        start, limit = len(self.shown), time.monotonic() + seconds
        while words not in self.shown[max(0, start - 4000) :]:
            assert time.monotonic() < limit, f"{words!r} was not shown; last: {self.shown[-1500:]}"
            self.read(0.3)

    def type(self, keys: str) -> None:
        os.write(self.handle, keys.encode())

    def ended(self) -> int:
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])


def record(sink, folder: Path, *more: str) -> Terminal:
    command = [
        sys.executable,
        "-m",
        "tapscan",
        "scan",
        "record",
        "P1",
        "--register",
        str(folder),
        "--device",
        "pulse",
        "--sensor",
        "contact",
        "--jobs",
        "2",
    ]
    os.chdir(ROOT)
    sounds = [] if "--beeps" in more else ["--no-beeps"]
    return Terminal([*command, "--rate", str(RATE), "--state", "stripped", *sounds, *more], sink.env)


def refused(folder: Path, *more: str, status: int) -> str:
    """What is said of it, in this process: no device is opened."""
    done = run("scan", "record", "P1", "--register", folder, "--sensor", "contact", "--state", "stripped", *more)
    assert done.status == status
    return flat(done.err)


def played_until_stored(sink, screen: Terminal, sound) -> None:
    """On a busy machine the player itself may stumble: what was refused is played again."""
    for _ in range(3):
        player = sink.play(sound)
        while player.poll() is None and "Write the report" not in screen.shown:
            screen.read(0.5)
        player.kill()
        screen.read(5)
        if "Write the report" in screen.shown or "Stored as" in screen.shown:
            break
    screen.until("Write the report", 120)
    screen.type("n\n")
    screen.read(2)
    assert screen.ended() == 0


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = make_register(tmp_path / "register")
    add_plate(made, Plate("P1"))
    return made.folder


@pytest.mark.slow
def test_a_scan_of_all_stations_in_a_terminal(sink, folder):
    """One tap at each place of the long layout, soft knocks between that are refused, and the scan is stored."""
    layout = read_layout("grand-long")
    count = len(layout.stations)
    assert count >= 18
    screen = record(sink, folder, "--layout", "grand-long", "--order", "hard")
    screen.until("listening to the room", 20)
    onsets = [1.5 + 0.8 * i for i in range(count)]
    played_until_stored(sink, screen, taps_at(onsets, onsets[-1] + 2.0, RATE, modes=SHORT))
    register = open_register(folder)
    (entry,) = list_scans(register)
    strikes = load_screening(register, entry.current.id).scan.strikes
    assert [s.station for s in strikes] == [s.name for s in layout.stations]
    assert all(s.usable and s.force == "hard" for s in strikes)
    assert unfinished_scans(register) == []
    assert f"of {count} places done" in screen.shown


def test_beeps_are_never_taken_for_strikes(sink, folder):
    """The sink that plays the beeps is the input itself: each comes back at full strength."""
    screen = record(sink, folder, "--layout", "grand-short", "--order", "hard", "--beeps")
    screen.until("listening to the room", 20)
    sink.play(taps_at([1.5, 4.0, 6.5], 8.5, RATE, modes=SHORT)).wait()
    screen.until("3 of 8 places done", 10)
    screen.read(2)
    screen.type("q")
    screen.until("Screen what there is", 20)
    screen.type("n\n")
    screen.read(2)
    assert screen.ended() == 0
    assert "no beeps" not in screen.shown
    (unfinished,) = unfinished_scans(open_register(folder))
    assert [s.station for s in unfinished.kept] == ["S1", "S2", "S3"]


def test_keys_are_recorded_in_a_terminal_and_read_as_notes(sink, folder):
    """The simulated keys, through the device; wrong options are told before it is opened."""
    keys = KEYS[:4]
    names = [key_name(k) for k in keys]
    screen = record(sink, folder, "--played", "--keys", ",".join(names))
    screen.until("number 21 of 88", 20)
    played_until_stored(sink, screen, resample_poly(played(keys), RATE // 300, NOTES_RATE // 300) * 4)
    register = open_register(folder)
    (entry,) = list_scans(register)
    notes = load_screening(register, entry.current.id).scan.played
    assert entry.played and notes is not None and [n.key for n in notes.notes] == names and notes.missing == ()
    assert unfinished_scans(register) == [] and f"of {len(names)} keys played" in screen.shown
    assert "leave --layout" in refused(folder, "--played", "--layout", "grand-long", status=2)


@pytest.mark.slow
def test_the_device_goes_and_comes_back(sink, folder):
    screen = record(sink, folder, "--layout", "grand-short", "--order", "hard")
    screen.until("listening to the room", 20)
    sink.play(taps_at([1.5], 3.0, RATE, modes=SHORT)).wait()
    screen.until("1 of 8 places done", 10)
    sink.stop()
    screen.until("nothing is lost", 20)
    sink.start()
    screen.read(5)
    sink.play(taps_at([2.5], 4.0, RATE, modes=SHORT)).wait()
    screen.until("2 of 8 places done", 20)
    screen.type("q")
    screen.until("Screen what there is", 20)
    screen.type("n\n")
    screen.until("Kept as unfinished", 20)
    assert screen.ended() == 0
    (unfinished,) = unfinished_scans(open_register(folder))
    assert [s.station for s in unfinished.kept] == ["S1", "S2"]
    assert "--resume to go on" in refused(folder, status=1)
    on = record(sink, folder, "--resume")
    on.until("2 of 8 places done", 20)
    on.type("q")
    on.until("Screen what there is", 20)
    on.type("n\n")
    on.read(2)
    assert on.ended() == 0


def test_nothing_in_noise_through_the_device(sink, tmp_path):
    lines = heard(sink, 4, tmp_path, noise(3.5, RATE, 1e-3))
    assert [line for line in lines if line.endswith("None")] == []


def test_mic_names_the_noise(sink):
    player = sink.play(np.asarray(noise(12, RATE, 1e-4)))
    time.sleep(1)
    done = subprocess.run(
        [sys.executable, "-m", "tapscan", "mic", "--device", "pulse", "--rate", str(RATE), "--seconds", "3"],
        capture_output=True, text=True, check=False, cwd=ROOT, env=sink.env,
    )  # fmt: skip
    player.kill()
    assert done.returncode == 0, done.stderr
    assert "Noise: -80 dB" in done.stdout and "Quiet enough for a scan." in done.stdout
