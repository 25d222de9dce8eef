"""Memory of a process that works on arrays.

keep_freed()       what is freed stays with the process, for what comes next
seldom_looked()    Python looks for garbage seldom, and not at the end
"""

import atexit
import gc
import sys

TRIM_THRESHOLD, MMAP_THRESHOLD = -1, -3  # of GNU's <malloc.h>
KEPT_BYTES = 64 << 20
MADE_BETWEEN = (20_000, 20, 20)  # objects, rounds, rounds of rounds
# larger arrays go back to the system at once; the most that GNU's library comes to by itself
OWN_PAGES_BYTES = 32 << 20


def keep_freed() -> None:
    """Else the end of the heap goes back to the system after each step of the analysis and comes anew, page by page.

    Of a recording at 48 kHz that was two page faults of three. Where the C library is not GNU's, nothing is done.
    """
    if sys.platform != "linux":
        return
    import ctypes

    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is not None:
        mallopt(TRIM_THRESHOLD, KEPT_BYTES)
        mallopt(MMAP_THRESHOLD, OWN_PAGES_BYTES)


def seldom_looked() -> None:
    """A command makes much and throws little away: looking for garbage took a tenth of its start, and the last two looks, when it ends, as long again.

    What has to happen at the end happens as before: what others refer to is let go, and files are closed by those who opened them.
    """
    gc.set_threshold(*MADE_BETWEEN)
    atexit.register(gc.freeze)
