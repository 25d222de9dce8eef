"""Time zones for a while, by rules written out, so that no table of zones is needed."""

import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

EAST, WEST = "SHOP-13", "SHOP+11"  # 13 hours ahead of UTC, 11 behind: at any moment it is another day in one of them


@contextmanager
def in_zone(rules: str) -> Iterator[None]:
    """`rules` : as POSIX writes them in TZ, hours behind UTC counted up."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", rules)
        time.tzset()
        yield
    time.tzset()
