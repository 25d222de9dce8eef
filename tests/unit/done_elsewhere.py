"""What tests of processes ask others to do. In a file of its own: each process reads it anew, and needs neither pytest nor the analysis for it."""

import multiprocessing
import os
import time
from collections.abc import Iterator


def square(x: int) -> tuple[int, int]:
    return x * x, os.getpid()


def slow_square(x: int) -> tuple[int, int]:
    time.sleep(0.02)
    return square(x)


def who_and_when(x: int) -> tuple[int, int, float]:
    return x, os.getpid(), time.time()


def refused(x: int) -> int:
    raise ValueError(f"no {x}")


class StrangeError(Exception):
    """Nobody else can read it."""

    def __reduce__(self) -> str:
        return "nowhere"


def strange(x: int) -> int:
    raise StrangeError(f"no {x}")


def dies_elsewhere(x: int) -> int:
    if multiprocessing.parent_process() is not None:
        os._exit(3)
    time.sleep(0.05)  # so that the other gets one
    return x + 1


def niceness(_: int) -> int:
    return os.nice(0)


def large(_: int) -> bytes:
    return bytes(30_000_000)


def process(_: object) -> int:
    return os.getpid()


def endless(_: None) -> Iterator[None]:
    while True:
        time.sleep(0.01)
        yield
