"""Work shared between processes: the same answers whatever their count, and nothing left behind."""

import multiprocessing
import os
import platform
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from functools import partial
from importlib import import_module
from pathlib import Path

import pytest

from tapscan.workers import Workers
from tapscan.workflow.check import Request, check
from tests.awake import until_awake
from tests.every import each
from tests.sounds import encoded, taps_at, written
from tests.unit.done_elsewhere import (
    dies_elsewhere,
    large,
    niceness,
    refused,
    slow_square,
    square,
    strange,
    who_and_when,
)


@each("jobs", [1, 2, 3])
def test_answers_come_in_the_order_of_the_items(jobs: int) -> None:
    told: list[int] = []
    with Workers(jobs) as workers:
        assert workers.start() is (jobs > 1)
        until_awake(workers)  # this test is of who works, not of how soon
        found = workers.map(slow_square, range(40), told.append)
    assert [answer for answer, _ in found] == [x * x for x in range(40)]
    assert (len({process for _, process in found}) > 1) is (jobs > 1)
    assert told == sorted(set(told)) and told[-1] == 40


def test_what_is_needed_later_is_imported_while_others_work() -> None:
    for jobs in (1, 2):
        with Workers(jobs) as workers:
            workers.start()
            workers.later(partial(import_module, "cmd"))
            sys.modules.pop("cmd", None)
            until_awake(workers)
            told: list[int] = []
            assert [answer for answer, _ in workers.map(slow_square, range(4), told.append)] == [0, 1, 4, 9]
            assert told == sorted(set(told)), "an import is no answer"
            assert ("cmd" in sys.modules) is (jobs > 1)


@each("jobs", [1, 2])
def test_others_begin_before_the_answers_are_asked_for(jobs: int) -> None:
    with Workers(jobs) as workers:
        workers.start()
        if sent := workers.submit(square, 1):  # it has read this file by then
            sent.result()
        answers = workers.begun(who_and_when, range(6))
        time.sleep(0.5)
        asked = time.time()
        found = list(answers)
    assert [item for item, _, _ in found] == list(range(6))
    ahead = [process for _, process, at in found if at < asked]
    assert bool(ahead) is (jobs > 1) and os.getpid() not in ahead


def test_nobody_is_started_unasked() -> None:
    before = multiprocessing.active_children()
    with Workers(4) as workers:
        assert {process for _, process in workers.map(square, range(9))} == {os.getpid()}
        assert workers.submit(square, 1) is None
        assert multiprocessing.active_children() == before


@each("jobs", [1, 2])
def test_what_a_job_raises_is_raised_here(jobs: int) -> None:
    with Workers(jobs) as workers:
        workers.start()
        until_awake(workers)
        with pytest.raises(ValueError, match="no"):
            workers.map(refused, range(4))


def test_an_error_that_no_other_process_can_read_is_told_in_words() -> None:
    with Workers(2) as workers:
        workers.start()
        sent = workers.submit(strange, 4)
        assert sent is not None
        with pytest.raises(RuntimeError, match="StrangeError: no 4"):
            sent.result()


@each("way", [Workers.map, Workers.begun])
def test_the_work_of_a_process_that_dies_is_done_here(way: Callable[..., Iterable[int]]) -> None:
    with Workers(2) as workers:
        workers.start()
        until_awake(workers)
        with pytest.warns(UserWarning, match="its share was done by this one"):
            assert list(way(workers, dies_elsewhere, range(6))) == [1, 2, 3, 4, 5, 6]
        assert workers.map(square, [3])[0] == (9, os.getpid())


def test_sound_that_only_this_process_holds_is_listened_to_here_while_others_work(tmp_path: Path) -> None:
    path = written(tmp_path / "taps.m4a", encoded(taps_at([0.5, 2.0, 3.5], 5, 48_000), 48_000, "m4a"))
    asked = Request(per_station=1, order=("hard",))
    with Workers(2) as workers:
        workers.start()
        until_awake(workers)
        shared = check([str(path)], asked, workers)
    assert len(shared.screening.scan.strikes) == 3
    assert shared.screening.scan == check([str(path)], asked).screening.scan


@pytest.mark.skipif(not hasattr(os, "nice"), reason="Windows has classes of priority instead")
def test_others_of_low_priority_give_way() -> None:
    with Workers(2, low=True) as workers:
        workers.start()
        sent = workers.submit(niceness, 0)
        assert sent is not None and sent.result() > os.nice(0)


def test_processes_that_are_ended_in_the_middle_of_an_answer_hold_nobody_up() -> None:
    for wait_s in (0.0, 0.01, 0.03, 0.1):
        with Workers(3) as workers:
            workers.start()
            until_awake(workers)
            sent = [workers.submit(large, 0) for _ in range(6)]
            time.sleep(wait_s)
            begun = time.monotonic()
        assert time.monotonic() - begun < 20
        assert all(one is not None and one.done() for one in sent)


IDLE = """
import multiprocessing, signal, time
from tapscan.workers import Workers
if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell turns it off for what runs in its background
    with Workers(3) as workers:
        workers.start()
        workers.submit(time.sleep, 60)
        print(*(p.pid for p in multiprocessing.active_children()), flush=True)
        time.sleep(60)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="kills by signal")
@each("end", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
def test_others_end_with_this_one_however_it_ends(end: int, tmp_path_factory: pytest.TempPathFactory) -> None:
    script = tmp_path_factory.mktemp("idle") / "idle.py"
    script.write_text(IDLE)
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    begun = subprocess.Popen([sys.executable, str(script)], text=True, **pipes)
    assert begun.stdout is not None
    others = [int(pid) for pid in begun.stdout.readline().split()]
    assert len(others) == 2
    time.sleep(1.0)  # one is asleep over its work by now
    begun.send_signal(end)
    begun.communicate(timeout=20)
    until = time.monotonic() + 20
    while any(map(alive, others)) and time.monotonic() < until:
        time.sleep(0.05)
    assert not [pid for pid in others if alive(pid)]


MASKED = """
import signal
from tapscan.workers import Workers
def masked(_):
    return signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, [])
if __name__ == "__main__":
    with Workers(3) as workers:
        workers.start()
        sent = [workers.submit(masked, 0) for _ in range(6)]
        print(all(one.result() for one in sent), masked(0))
"""


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="Windows has no such mask")
def test_others_do_not_hear_ctrl_c_not_even_while_they_begin(tmp_path: Path) -> None:
    """In a process of its own, since what the standard library starts beside the first other process lets interrupts through."""
    script = tmp_path / "masked.py"
    script.write_text(MASKED)
    said = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, timeout=120, check=True).stdout
    assert said.split() == ["True", "False"]


def alive(pid: int) -> bool:
    """One that has ended and waits to be counted by its parent has ended."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    status = Path(f"/proc/{pid}/stat")
    return not status.exists() or status.read_text().rpartition(")")[2].split()[0] != "Z"


FREED = """
import resource
import sys
import numpy as np
from tapscan.workers.memory import keep_freed
if sys.argv[1] == "kept":
    keep_freed()
for _ in range(30):
    if _ == 5:
        before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    parts = [np.ones(300_000) for _ in range(4)]
    del parts
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only GNU's C library is told")
def test_memory_that_was_freed_is_used_again(tmp_path: Path) -> None:
    script = tmp_path / "freed.py"
    script.write_text(FREED)
    left, kept = (
        int(subprocess.run([sys.executable, str(script), how], capture_output=True, text=True, check=True).stdout)
        for how in ("left", "kept")
    )
    assert kept < 500 < left


SOUGHT = """
import sys
from tapscan.workers.memory import seldom_looked
if sys.argv[1] == "seldom":
    seldom_looked()
class Found:
    def __del__(self):
        print("found")
ring = Found()
ring.itself = ring
del ring
"""


def test_a_process_does_not_look_for_garbage_when_it_ends(tmp_path: Path) -> None:
    script = tmp_path / "sought.py"
    script.write_text(SOUGHT)
    always, seldom = (
        subprocess.run([sys.executable, str(script), how], capture_output=True, text=True, check=True).stdout.split()
        for how in ("always", "seldom")
    )
    assert (always, seldom) == (["found"], [])
