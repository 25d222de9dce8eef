"""What goes from one process to another and back, in bytes: small things by the pipe, large arrays by memory that both see, where there is any.

Shared()                            such memory: made before the other process, which must be a copy of this one (fork)
packed(value, shared, place)        the bytes for the pipe; place: a part of the memory that nobody else uses until it was unpacked; None: all by the pipe
unpacked(told, shared)              the value, and its place

A pipe copies an array five times and calls the system for each of its pieces; by memory it is copied in and out.
"""

import mmap
import pickle
from typing import Any

PLACES, PLACE_BYTES = (
    4,
    8 << 20,
)  # two jobs on their way, each with an answer; of memory that nobody writes to nothing is used
LARGE_BYTES = 4096


class Shared:
    """See the module."""

    def __init__(self) -> None:
        self.memory = mmap.mmap(-1, PLACES * PLACE_BYTES)

    def put(self, arrays: list[memoryview], place: int) -> None:
        """One after the other."""
        at = place * PLACE_BYTES
        for one in arrays:
            self.memory[at : at + one.nbytes] = one
            at += one.nbytes

    def taken(self, sizes: list[int], place: int) -> list[bytearray]:
        """The same as memory of this process."""
        out, at = [], place * PLACE_BYTES
        with memoryview(self.memory) as whole:
            for size in sizes:
                out.append(bytearray(whole[at : at + size]))
                at += size
        return out


def packed(value: Any, shared: Shared | None = None, place: int | None = None) -> bytes:
    """Raises what pickle raises where the value cannot be sent."""
    arrays: list[memoryview] = []

    def by_pipe(buffer: pickle.PickleBuffer) -> bool:
        raw = buffer.raw()
        if raw.nbytes >= LARGE_BYTES:
            arrays.append(raw)
        return raw.nbytes < LARGE_BYTES

    if shared is not None and place is not None:
        told = pickle.dumps(value, 5, buffer_callback=by_pipe)
        if sum(one.nbytes for one in arrays) <= PLACE_BYTES:
            shared.put(arrays, place)
            return pickle.dumps((told, place, [one.nbytes for one in arrays]))
    return pickle.dumps((pickle.dumps(value, 5), place, []))


def unpacked(told: bytes, shared: Shared | None = None) -> tuple[Any, int | None]:
    """Raises what pickle raises where the value cannot be read here."""
    value, place, sizes = pickle.loads(told)
    arrays = shared.taken(sizes, place) if shared is not None and sizes else []
    return pickle.loads(value, buffers=arrays), place
