"""What takes seconds to make is made once for all test processes, and read only.

once(tmp_path_factory, name, make)   the folder that `make` filled, whichever process of this run was first
"""

import os
from collections.abc import Callable
from pathlib import Path

import pytest


def once(tmp_path_factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """`make` is given a new folder, which is renamed when it is full; where two processes begin together the later one's is thrown away."""
    own = tmp_path_factory.getbasetemp()
    there = (own.parent if os.environ.get("PYTEST_XDIST_WORKER") else own) / f"once-{name}"
    if not there.exists():
        made = tmp_path_factory.mktemp(name)
        make(made)
        try:
            made.rename(there)
        except OSError:
            if not there.exists():
                raise
    return there
