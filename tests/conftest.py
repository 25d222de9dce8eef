"""What all tests share: one thread for linear algebra, as in `tapscan check`; missing parts fail in CI."""

import os
from collections.abc import Iterator

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy, and for the commands the tests start

import pytest
from threadpoolctl import threadpool_limits


@pytest.fixture(autouse=True, scope="session")
def _one_thread() -> Iterator[None]:
    """Small matrices: more threads only wait for each other, above all beside another test process."""
    with threadpool_limits(1):
        yield
