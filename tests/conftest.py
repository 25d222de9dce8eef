"""What all tests share: one thread for linear algebra, as in `tapscan check`; missing parts fail in CI."""

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy, and for the commands the tests start
os.environ["TAPSCAN_REGISTER"] = os.environ["XDG_CONFIG_HOME"] = str(Path(tempfile.gettempdir()) / "no-such-folder")
# what the person who runs the tests keeps as defaults of his shop is not the tests' affair

import pytest
from threadpoolctl import threadpool_limits


@pytest.fixture(autouse=True, scope="session")
def _one_thread() -> Iterator[None]:
    """Small matrices: more threads only wait for each other, above all beside another test process."""
    with threadpool_limits(1):
        yield
