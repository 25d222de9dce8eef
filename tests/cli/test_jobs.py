"""`--jobs`: the same figures to the last digit, no other process for a single tap, and Ctrl-C ends them all."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from functools import cache, partial
from pathlib import Path

import numpy as np
import pytest
import soundfile

from bench.simulate.take import one_recording
from tapscan.demo.plates import draw_iron, load_table, plate_modes
from tapscan.demo.taps import Tap, add_noise, scale_to, scan, sensor_names, snr_noise_rms
from tapscan.report.as_json import dumps
from tapscan.workers import Workers
from tapscan.workflow.check import Request, check
from tapscan.workflow.sharing import shared_work
from tests.awake import until_awake
from tests.cli.commands import run
from tests.every import each
from tests.snapshots import same_as_before

ROOT = Path(__file__).parents[2]
ORDER = ("soft", "hard", "hard")
RATE_HZ, PLACES = 16_000, 6
MOMENTS_S = np.random.default_rng(8).uniform(0.0, 2.0, 4).round(3).tolist()
MAIN = (  # a shell turns Ctrl-C off for what runs in its background
    "import signal; signal.signal(signal.SIGINT, signal.default_int_handler); from tapscan.cli import main; main()"
)


@cache
def taps() -> tuple[Tap, ...]:
    """Six places of a simulated plate."""
    table, rng = load_table("parlour-grand"), np.random.default_rng(3)
    modes = plate_modes(table, "sound", draw_iron(table, rng))
    made = scan(modes, sensor_names(modes)[0], RATE_HZ, rng, ORDER, table.station_names[:PLACES], 2.0, None, peak=None)
    return tuple(scale_to(add_noise(made, snr_noise_rms(made, 50.0), rng), 0.5))


@pytest.fixture(scope="module")
def one_file(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Two channels, so that a piece of one channel is not a piece of the file."""
    path = tmp_path_factory.mktemp("one") / "take.wav"
    sound, _ = one_recording(list(taps()))
    soundfile.write(path, np.stack([0.1 * sound, sound], axis=1), RATE_HZ, subtype="PCM_24")
    return [str(path)]


@pytest.fixture(scope="module")
def a_file_a_tap(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    folder = tmp_path_factory.mktemp("each")
    paths = [folder / f"{t.station}_{i}.flac" for i, t in enumerate(taps())]
    for path, tap in zip(paths, taps(), strict=True):
        soundfile.write(path, tap.samples, RATE_HZ, subtype="PCM_24")
    return [str(p) for p in paths]


def told(takes: list[tuple[list[str], Request]], jobs: int) -> list[str]:
    """What is said of each take, all looked at by the same processes."""
    said = []
    with Workers(jobs) as workers:
        assert workers.start() is (jobs > 1)
        until_awake(workers)  # so that the others do get a share
        for paths, request in takes:
            stages: dict[str, list[tuple[int, int]]] = {}
            workers.progress = partial(_hear, stages)
            screening = check(paths, request, workers).screening
            assert screening is not None and len(screening.scan.modes) > 20
            for seen in stages.values():
                assert (
                    seen == sorted(seen) and seen[-1][0] == seen[-1][1]
                )  # a bar neither jumps back nor stops half way
            said.append(dumps(screening))
    return said


def _hear(stages: dict[str, list[tuple[int, int]]], stage: str, done: int, total: int) -> None:
    stages.setdefault(stage, []).append((done, total))


@pytest.mark.slow
def test_figures_are_the_same_to_the_last_digit(one_file: list[str], a_file_a_tap: list[str]) -> None:
    takes = [(one_file, Request(order=ORDER, pictures=True)), (a_file_a_tap, Request(order=ORDER))]
    alone = told(takes, 1)
    assert told(takes, 2) == alone
    assert told(takes, 3) == alone


def test_one_tap_starts_no_other_process(monkeypatch: pytest.MonkeyPatch) -> None:
    def never(self: Workers) -> None:
        raise AssertionError("another process was started")

    monkeypatch.setattr(Workers, "_begin", never)
    path = ROOT / "reference_recordings" / "real" / "drum-rim-1.flac"
    assert run("check", path, "--jobs", 4).status == 0


@each(
    ("jobs", "size", "starts"),
    [(None, 3e6, False), (2, 3e6, True), (2, 1e6, False), (1, 9e8, False), (None, 9e8, True)],
)
def test_others_begin_where_the_recordings_hold_work_for_them(jobs: int | None, size: float, starts: bool) -> None:
    begun: list[bool] = []

    def begin(self: Workers) -> bool:
        begun.append(self.others > 0)
        return self.others > 0

    with pytest.MonkeyPatch.context() as here:
        here.setattr(Workers, "start", begin)
        here.setattr("tapscan.workers.cores", lambda: 2)
        shared_work(jobs, int(size))
    assert any(begun) is starts


def test_jobs_of_none_are_refused() -> None:
    assert run("check", "x.wav", "--jobs", 0).status == 2


@pytest.fixture
def long_file(tmp_path: Path, one_file: list[str]) -> Iterator[Path]:
    """So long that it is still being listened to when it is stopped."""
    sound, rate = soundfile.read(one_file[0], dtype="int16")
    path = tmp_path / "long.wav"
    with soundfile.SoundFile(path, "w", rate, 2, "PCM_16") as file:
        for _ in range(40):
            file.write(sound)
    yield path


@pytest.mark.skipif(sys.platform == "win32", reason="a terminal's Ctrl-C is sent otherwise there")
@each(("whole_group", "wait_s"), [(True, 0.0), (True, 1.0), (False, 1.0), *((True, wait_s) for wait_s in MOMENTS_S)])
def test_ctrl_c_ends_all(
    whole_group: bool, wait_s: float, long_file: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """As from a terminal, which tells every process of the group, and as from a program that tells this one only; while others begin, import and work."""
    folder = tmp_path_factory.mktemp("here")
    words = ["tapscan", "check", str(long_file), "--per-station", "3", "--jobs", "3", "--json", "x.json"]
    command = [sys.executable, "-c", f"import sys; sys.argv = {words!r}; {MAIN}"]
    begun = subprocess.Popen(
        command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    until = time.monotonic() + 30
    while members(begun.pid) < 3 and begun.poll() is None and time.monotonic() < until:
        time.sleep(0.02)
    time.sleep(wait_s)
    assert begun.poll() is None, begun.communicate()
    (os.killpg if whole_group else os.kill)(begun.pid, signal.SIGINT)
    out, err = begun.communicate(timeout=30)
    assert (begun.returncode, out) == (130, "")
    same_as_before("stopped", err, part="anywhere")
    until = time.monotonic() + 20
    while members(begun.pid) and time.monotonic() < until:
        time.sleep(0.05)
    assert members(begun.pid) == 0
    assert list(folder.iterdir()) == []


def members(session: int) -> int:
    """Processes of a session or group, those that have ended and wait to be counted left out."""
    rows = list(_of_proc() if Path("/proc/self/stat").exists() else _of_ps())
    return sum(1 for row in rows if str(session) in row[:2] and not row[2].startswith("Z"))


def _of_proc() -> Iterator[list[str]]:
    """Session, group and state of each process, as Linux tells them."""
    for path in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):  # it has ended meanwhile
            state, _, group, its_session = path.read_text().rsplit(")", 1)[1].split()[:4]
            yield [its_session, group, state]


def _of_ps() -> Iterator[list[str]]:
    """The same on every POSIX system; a process more for each look."""
    said = subprocess.run(["ps", "-A", "-o", "sess=,pgid=,stat="], capture_output=True, text=True, check=True).stdout
    return (line.split() for line in said.splitlines())
