"""Work of one command, or of one button of the page, shared between processes.

early_work(jobs, recordings)     context manager: the others begin and listen before this process has imported anything, for the shared_work that follows
shared_work(jobs, sound_bytes)   Workers; the others begin at once where the recordings hold work for seconds
recorder_work(jobs)              Workers that listen while somebody taps
bytes_of(recordings)             how much sound that is
"""

from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager, suppress
from pathlib import Path

from tapscan.workers import Progress, Workers, counted, quiet
from tapscan.workers.early import begun_early
from tapscan.workers.other_process import Ahead

WORTH_BYTES = 2_000_000  # of sound; less is listened to sooner than another process is ready
UNASKED_BYTES = 20_000_000  # where nobody said how many: less gains some tenths of a second, and costs more where other work wants the cores
AHEAD = ("tapscan.workflow.envelopes", "listen_ahead")
NEEDED = ("tapscan.workflow.places", "tapscan.signal.plate.plate_modes", "numpy.ma")  # the last at the first median


def early_work(jobs: int | None, recordings: Sequence[str]) -> AbstractContextManager[None]:
    """Of a command alone: a server knows its work only once it runs."""
    others = counted(jobs) - 1 if _worth(jobs, bytes_of(recordings)) else 0
    return begun_early(NEEDED, [Ahead(*AHEAD, (tuple(recordings), k, others)) for k in range(others)])


def _worth(jobs: int | None, sound_bytes: int) -> bool:
    return sound_bytes > (UNASKED_BYTES if jobs is None else WORTH_BYTES)


def shared_work(jobs: int | None, sound_bytes: int, progress: Progress = quiet) -> Workers:
    """Called before anything else, so that the others get ready meanwhile."""
    workers = Workers(jobs, NEEDED, progress)
    if _worth(jobs, sound_bytes):
        workers.start()
    return workers


def recorder_work(jobs: int | None) -> Workers:
    """Not begun yet: before the microphone is opened."""
    return Workers(jobs, NEEDED, low=True)


def bytes_of(recordings: Iterable[str | Path]) -> int:
    """Of the files that are there; the others are told of later, with their reason."""
    size = 0
    for path in recordings:
        with suppress(OSError):
            size += Path(path).stat().st_size
    return size
