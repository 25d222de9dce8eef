"""Strikes, scans and results on their way to a server while the server, the line, the client or a worker is stopped at a moment.

Each function gives how many were accepted, and fails where one is lost or double.

server_killed(postgres, register, at_s), line_cut(line, register, at_s)             so long after its beginning
client_killed(address, register, after, at_s), worker_killed(address, register, after, at_s)   so long after it had said so many things
"""

import os
import signal
import threading
import time
from collections.abc import Callable

from tapscan.errors import NotReached
from tapscan.register.address import Server
from tapscan.register.database import Register, open_register
from tapscan.register.entries import KeptFile
from tapscan.register.outbox import Waiting, send_waiting
from tapscan.register.recording_entries import TakenStrike
from tapscan.register.results import load_screening
from tapscan.register.scans import add_screening, find_scan, list_scans, store_scan
from tapscan.register.unfinished import begin, find_unfinished
from tests.register import built
from tests.server.postgres import Line, Postgres

STRIKES, BETWEEN_S, UNDONE = 6, 0.01, 2
LASTS_S = STRIKES * BETWEEN_S + 0.1  # about how long a recording of them takes


def record(register: Register, number: int, accepted: Callable[[str], None]) -> None:
    """Some strikes, one of them taken back; `accepted` hears the key when a person would see it."""
    strikes = Waiting(register)
    for i in range(STRIKES):
        new = TakenStrike(f"S{i}", "soft", KeptFile("", 0, ""), -20.0, 40.0)
        key = strikes.take(number, new, f"tap {number} {i}".encode() * 2000, f"S{i}").key
        assert key is not None
        accepted(key)
        if i == UNDONE:
            strikes.undo(number, key)
            accepted(f"undone {key}")
        time.sleep(BETWEEN_S)


def begun(register: Register) -> int:
    return begin(register, "B12", built.new_scan(), {}).id


def nothing_lost(register: Register, number: int, accepted: list[str]) -> int:
    """After all that waited has been sent."""
    assert send_waiting(register) is None
    there = find_unfinished(register, number).strikes
    shown = [a for a in accepted if not a.startswith("undone")]
    keys = [s.key for s in there]
    assert keys[: len(shown)] == shown, "each that was shown, once, in order"
    assert len(keys) - len(shown) in (0, 1), "and at most the one that was about to be shown"
    undone = {a.split()[1] for a in accepted if a.startswith("undone")}
    assert undone <= {s.key for s in there if s.undone}
    for strike in there:
        assert register.files.wrong(strike.file.sha256, strike.file.size_bytes) is None
    return len(shown)


def _while_recording(register: Register, trouble: Callable[[], None], mended: Callable[[], None], at_s: float) -> int:
    """Trouble at that moment of a recording, mended when the recording is over."""
    number, accepted = begun(register), []
    recording = threading.Thread(target=record, args=(register, number, accepted.append))
    recording.start()
    time.sleep(at_s)
    trouble()
    recording.join(60)
    assert not recording.is_alive() and len(accepted) == STRIKES + 1, "the recorder went on"
    mended()
    _settled(register, number)
    return nothing_lost(register, number, accepted)


def _settled(register: Register, number: int) -> None:
    end = time.monotonic() + 30
    while True:
        try:
            return Waiting(register).settle(number)
        except NotReached:
            if time.monotonic() > end:
                raise
            time.sleep(0.05)


def server_killed(postgres: Postgres, register: Register, at_s: float) -> int:
    return _while_recording(register, lambda: postgres.stop("immediate"), postgres.start, at_s)


def line_cut(line: Line, register: Register, at_s: float) -> int:
    return _while_recording(register, line.cut, line.mend, at_s)


def _killed_child(work: Callable[[Callable[[str], None]], None], after: int, at_s: float) -> list[str]:
    """What it said; killed so long after it had said `after` lines. Forked, so that moments are those of the work and not of Python's start."""
    out, into = os.pipe()
    pid = os.fork()
    if pid == 0:
        try:
            work(lambda said: os.write(into, f"{said}\n".encode()) and None)
        finally:
            os._exit(0)
    os.close(into)
    with os.fdopen(out, "rb") as told:
        said = [line for _, line in zip(range(after), told, strict=False)]  # no line more than asked for is taken
        time.sleep(at_s)
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        return [line.decode().strip() for line in (*said, *told)]


def client_killed(address: Server, register: Register, after: int, at_s: float) -> int:
    """The bench's program ends in the middle; the next start of one sends what waits."""
    number = begun(register)

    def work(say: Callable[[str], None]) -> None:
        record(open_register(address), number, say)

    return nothing_lost(register, number, _killed_child(work, after, at_s))


def worker_killed(address: Server, register: Register, after: int, at_s: float) -> int:
    """Results of a scan stored anew, again and again: each that was told is there, whole, and none is there in part or twice."""
    name = _scan(register).name
    results = [
        built.made(built.screening((find_scan(register, name).files[0].sha256,), modes=40, seed=i)) for i in range(12)
    ]
    before = len(find_scan(register, name).screenings)

    def work(say: Callable[[str], None]) -> None:
        mine = open_register(address)
        for result in results:
            say(str(add_screening(mine, name, result).current.number))

    told = [int(n) for n in _killed_child(work, after, at_s)]
    made = find_scan(register, name).screenings
    assert [s.number for s in made] == list(range(1, len(made) + 1))
    assert len(made) - before - len(told) in (0, 1) and told == list(range(before + 1, before + 1 + len(told)))
    for i, one in enumerate(made[before:]):
        assert load_screening(register, one.id) == results[i].screening
    return len(told)


def _scan(register: Register):
    import hashlib

    if there := list_scans(register):
        return there[0]
    files = [register.files.keep_bytes(b"taps", "S1_1.wav")]
    made = built.made(built.screening((hashlib.sha256(b"taps").hexdigest(),)))
    return store_scan(register, "B12", built.new_scan(), made, files)
