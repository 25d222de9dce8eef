"""Other processes need a while until they are ready, longer on a busy machine."""

import time

from tapscan.workers import Workers


def until_awake(workers: Workers) -> None:
    """At once where there are none."""
    end = time.monotonic() + 120
    while workers.others and not workers.awake and time.monotonic() < end:
        time.sleep(0.02)
    assert workers.awake is (workers.others > 0)
