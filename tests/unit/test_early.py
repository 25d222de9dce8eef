"""Processes that begin before the command line is read: taken over, gone ahead of, or ended without a trace."""

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tapscan.cli import early
from tapscan.settings import Settings
from tapscan.signal.strikes.detect import Span
from tapscan.workers import Workers
from tapscan.workers.early import _waiting, begun_early
from tapscan.workers.other_process import Ahead
from tapscan.workflow import listen
from tapscan.workflow.envelopes import Key, _given, known_ahead, listen_ahead, measured
from tests.every import each
from tests.sounds import taps_at
from tests.unit.done_elsewhere import process

RATE_HZ = 16_000
ELSEWHERE = "tests.unit.done_elsewhere"
PRELOAD = ("cmd",)


@pytest.fixture
def long_take(tmp_path: Path) -> str:
    """More than two pieces, and worth another process."""
    sound = taps_at(np.arange(1.0, 80.0, 2.0).tolist(), 82, RATE_HZ)
    soundfile.write(tmp_path / "take.wav", sound, RATE_HZ, subtype="PCM_24")
    return str(tmp_path / "take.wav")


@each(
    ("words", "variable", "jobs"),
    [
        (["check", "RECORDING", "--jobs", "2"], "", 2),
        (["check", "--jobs=3", "RECORDING"], "1", 3),
        (["check", "RECORDING"], "2", 2),
        (["check", "RECORDING"], "", None),
        (["scan", "import", "A", "RECORDING", "--jobs", "1", "--jobs", "4"], "", 4),
    ],
)
def test_what_is_typed_tells_how_many(words, variable, jobs, long_take, monkeypatch):
    told = []
    monkeypatch.setattr(early, "early_work", lambda *said: told.append(said))
    monkeypatch.setenv("TAPSCAN_JOBS", variable)
    early.begun_early([long_take if w == "RECORDING" else w for w in words])
    assert told == [(jobs, [long_take])]


@each("words", [["check", "RECORDING", "--help"], ["check", "RECORDING", "--jobs", "all"], ["plate", "RECORDING"], []])
def test_nobody_begins_early_where_nothing_is_listened_to(words, long_take, monkeypatch):
    monkeypatch.setattr(early, "early_work", lambda *_: pytest.fail("begun"))
    with early.begun_early([long_take if w == "RECORDING" else w for w in words]):
        pass


def test_a_process_begun_early_is_taken_over_and_answers_although_it_goes_ahead():
    with begun_early(PRELOAD, [Ahead(ELSEWHERE, "endless", None)]), Workers(2, PRELOAD) as workers:
        first = workers_begun_early()
        assert workers.start()
        sent = workers.submit(process, 0)
        assert sent is not None and [sent.result()] == first
        assert workers_begun_early() == []


@each(("preload", "low"), [(("code",), False), (PRELOAD, True)])
def test_one_that_imports_something_else_is_not_taken(preload, low):
    with begun_early(PRELOAD, [Ahead(ELSEWHERE, "endless", None)]):
        first, processes = workers_begun_early(), [other.process for _, other in _waiting]
        with Workers(2, preload, low=low) as workers:
            workers.start()
            sent = workers.submit(process, 0)
            assert sent is not None and sent.result() not in first
        assert workers_begun_early() == first
    assert not any(p.is_alive() for p in processes)


def workers_begun_early() -> list[int | None]:
    return [other.process.pid for _, other in _waiting]


def took_over(recording: str, change: Callable[[], object] = lambda: None) -> tuple[tuple[Span, ...], list[int]]:
    """Spans as told after another process went ahead, and where the pieces begin that had to be measured afterwards; `change` comes in between."""
    ahead, left = Ahead("tapscan.workflow.envelopes", "listen_ahead", ([recording, __file__], 0, 1)), list[int]()
    with begun_early(PRELOAD, [ahead]), Workers(2, PRELOAD) as workers, pytest.MonkeyPatch.context() as patch:
        workers.start()
        while not workers.awake or not (known := known_ahead(workers)):
            time.sleep(0.01)
        change()
        patch.setattr(listen, "known_ahead", lambda _: known)
        patch.setattr(listen, "measured", lambda piece: left.append(piece.start) or measured(piece))
        (told,) = listen.listen_all([recording], Settings())
        assert isinstance(told, listen.Heard)
        return told.spans, left


def test_listening_ahead_gives_what_listening_gives(long_take):
    spans, left = took_over(long_take)
    assert spans == listen.listen(long_take, Settings()).spans
    assert left in ([], [30 * RATE_HZ, 60 * RATE_HZ], [60 * RATE_HZ])  # it stops ahead where it is asked


def test_each_process_goes_ahead_with_pieces_of_its_own(long_take):
    assert len(list(listen_ahead(([long_take, __file__], 1, 2)))) == 1
    assert [key[-2:] for key in known_here()] == [(30 * RATE_HZ, 60 * RATE_HZ)]
    assert not known_here()  # told once


def known_here() -> list[Key]:
    return list(_given(None))


def test_a_recording_written_anew_is_listened_to_anew(long_take):
    def written_anew() -> None:
        sound, rate = soundfile.read(long_take)
        soundfile.write(long_take, np.roll(sound, rate // 2), rate, subtype="PCM_24")

    spans, left = took_over(long_take, written_anew)
    assert left == [0, 30 * RATE_HZ, 60 * RATE_HZ]
    assert spans == listen.listen(long_take, Settings()).spans
    assert spans[0].onset_s == pytest.approx(1.5, abs=0.01)


@each("words", [["--bogus"], ["--layout", "nowhere"], ["--per-station", "3", "--order", "soft"]])
def test_an_error_is_told_as_without_them(words, long_take):
    """And nobody is left."""
    told = [run_alone([long_take, *words, "--jobs", jobs]) for jobs in ("1", "3")]
    assert told[0] == told[1]
    assert told[0][0] != 0


def run_alone(words: list[str]) -> tuple[int, str, str]:
    command = [sys.executable, "-W", "error", "-m", "tapscan", "check", *words]
    done = subprocess.run(command, check=False, capture_output=True, text=True, timeout=120)
    return done.returncode, done.stdout, done.stderr


BEGIN = """
import sys, threading, time
from tapscan.workers.early import _waiting, begun_early
from tapscan.workers.other_process import Ahead

def begin():
    return begun_early(("cmd",), [Ahead("tests.unit.done_elsewhere", "endless", None)] * 2)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="spawned on other systems")
def test_a_process_of_one_thread_is_copied_and_one_of_several_is_not():
    script = """
for _ in range(2):
    with begin():
        print(*[type(other.process).__name__ for _, other in _waiting])
    threading.Thread(target=time.sleep, args=(60,), daemon=True).start()
"""
    done = subprocess.run(
        [sys.executable, "-c", BEGIN + script], capture_output=True, text=True, timeout=120, check=True
    )
    assert done.stdout.splitlines() == ["ForkProcess ForkProcess", "SpawnProcess SpawnProcess"]


@pytest.mark.skipif(sys.platform != "linux", reason="spawned on other systems")
def test_copies_end_with_the_process_that_was_killed():
    script = """
with begin():
    print(*[other.process.pid for _, other in _waiting], flush=True)
    time.sleep(60)
"""
    begun = subprocess.Popen([sys.executable, "-c", BEGIN + script], stdout=subprocess.PIPE, text=True)
    assert begun.stdout is not None
    copies = [Path("/proc", pid) for pid in begun.stdout.readline().split()]
    assert [one.is_dir() for one in copies] == [True, True]
    begun.kill()
    begun.communicate(timeout=30)
    until = time.monotonic() + 20
    while any(one.is_dir() for one in copies) and time.monotonic() < until:
        time.sleep(0.05)
    assert not any(one.is_dir() for one in copies)
