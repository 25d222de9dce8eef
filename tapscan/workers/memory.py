"""Memory of a process that works on arrays.

keep_freed()   what is freed stays with the process, for what comes next
"""

import sys

TRIM_THRESHOLD, MMAP_THRESHOLD = -1, -3  # of GNU's <malloc.h>
KEPT_BYTES = 64 << 20
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
