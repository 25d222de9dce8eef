"""From the last accepted tap to the reading, through a sound device made of software (tests/audio; PulseAudio).

    seconds_to_reading(tree, folder)     of the version in `tree`, 24 places, a soft and a hard tap each

The taps are those of bench/timed_scans.py, a pickup at 48 kHz; its plate has 20 places, so the last four are struck where the first four were. What was refused (on a
busy machine the player may stumble) is tapped again, as a person would.
"""

from __future__ import annotations

import sqlite3
import subprocess
import threading
import time
from contextlib import closing
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from bench.timed_process import command, surroundings
from bench.timed_scans import KINDS, taps
from tests.audio.conftest import RATE, Sink, missing

PLACES, ORDER = 24, ("soft", "hard")
PAUSE_S, FADE_S = 0.6, 0.3  # a hand stops the ring
PATIENCE_S, LONGEST_S = 4.0, 300.0


@cache
def sound() -> list[np.ndarray]:
    """Tap after tap, with quiet between."""
    made = taps(KINDS["pickup, 48 kHz"], order=ORDER, places=20)
    fade = np.ones(len(made[0].samples))
    falling = round(FADE_S * RATE)
    fade[-falling:] = 0.5 * (1 + np.cos(np.pi * np.arange(falling) / falling))
    rng = np.random.default_rng(4)
    pieces = [np.concatenate([t.samples * fade, np.zeros(round(PAUSE_S * RATE))]) for t in made]
    pieces += pieces[: 2 * (PLACES - 20)]
    return [p + 1e-5 * rng.standard_normal(len(p)) for p in pieces]


def layout() -> str:
    """Any 24 places."""
    lines = ['name = "places"', 'kind = "grand"', 'note = "for a bench"']
    for i in range(PLACES):
        lines += [
            "[[station]]",
            f'name = "P{i + 1}"',
            'where = "somewhere"',
            f"x = {(i % 6 + 0.5) / 6:.3f}",
            f"y = {(i // 6 + 0.5) / 4:.3f}",
        ]
    return "\n".join(lines) + "\n"


def seconds_to_reading(tree: Path, folder: Path) -> float:
    """Plays until all are taken."""
    if why := missing():
        raise SystemExit(why)
    with TemporaryDirectory(dir=folder) as work:
        here = Path(work)
        (here / "places.toml").write_text(layout())
        register = ["--register", str(here / "register")]
        own = {
            **surroundings(tree),
            "XDG_CONFIG_HOME": str(here / "own"),
        }  # no register is remembered from before, nor after
        subprocess.run(command(["plate", "add", "P1", *register]), cwd=here, env=own, check=True, capture_output=True)
        sink = Sink(here / "pulse")
        (here / "pulse").mkdir()
        sink.start()
        try:
            return _timed(tree, here, register, sink)
        finally:
            sink.stop()


def _timed(tree: Path, here: Path, register: list[str], sink: Sink) -> float:
    words = ["scan", "record", "P1", *register, "--layout", "places.toml", "--order", ",".join(ORDER), "--no-beeps"]
    words += ["--device", "pulse", "--rate", str(RATE), "--state", "stripped", "--sensor", "contact", "--bare"]
    env = {**sink.env, **{k: v for k, v in surroundings(tree).items() if k not in sink.env}}
    env |= {"PYTHONPATH": str(tree), "PYTHONUNBUFFERED": "1", "XDG_CONFIG_HOME": str(here / "own")}
    child = subprocess.Popen(
        command(words),
        cwd=here,
        env=env,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    said = _Lines(child)
    said.until("Tap when you are ready")
    time.sleep(1.5)  # it learns the noise of the room
    file, last = here / "register" / "register.sqlite", 0.0
    for number, piece in enumerate(sound()):
        while _taken(file) <= number:
            sink.play(piece).wait()
            last = _when_taken(file, number)
    end = said.until("Stored as")
    child.wait()
    return end - last


def _taken(file: Path) -> int:
    """Strikes that are stored."""
    with closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True)) as database:
        return int(database.execute("select count(*) from taken_strike where undone_utc is null").fetchone()[0])


def _when_taken(file: Path, number: int) -> float:
    """Or when it is plain that the tap was not taken."""
    end = time.perf_counter() + PATIENCE_S
    while _taken(file) <= number and time.perf_counter() < end:
        time.sleep(0.02)
    return time.perf_counter()


class _Lines:
    """What the child says, and when."""

    def __init__(self, child: subprocess.Popen[str]) -> None:
        self.child = child
        self.lines: list[tuple[float, str]] = []
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.child.stdout is not None
        for line in self.child.stdout:
            self.lines.append((time.perf_counter(), line))

    def until(self, words: str) -> float:
        """When it was said."""
        end = time.monotonic() + LONGEST_S
        while time.monotonic() < end:
            over = self.child.poll() is not None
            if found := [at for at, line in self.lines if words in line]:
                return found[0]
            if over:
                break
            time.sleep(0.02)
        raise SystemExit("the recorder never said " + words + ":\n" + "".join(line for _, line in self.lines))
