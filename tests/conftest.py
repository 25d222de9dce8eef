"""What all tests share: one thread for linear algebra, as in `tapscan check`; missing parts fail in CI."""

import atexit
import gc
import itertools
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy, and for the commands the tests start
os.environ["TAPSCAN_JOBS"] = "1"  # tests run side by side already; those of `--jobs` say how many
# in memory where it has 4 GiB free: the tests kill processes, not the power, so nothing need reach a disk
if "TMPDIR" not in os.environ and os.access("/dev/shm", os.W_OK) and shutil.disk_usage("/dev/shm").free > 4 << 30:
    os.environ["PYTEST_DEBUG_TEMPROOT"] = "/dev/shm"
    os.environ["TMPDIR"] = tempfile.mkdtemp(prefix="tapscan-tests-", dir="/dev/shm")
    atexit.register(shutil.rmtree, os.environ["TMPDIR"], ignore_errors=True)
os.environ["XDG_CONFIG_HOME"] = tempfile.mkdtemp(prefix="tapscan-tests-", dir=os.environ.get("TMPDIR"))
# the processes of one run share what may be made again: plate models, lists of fonts
if "PYTEST_XDIST_WORKER" not in os.environ:
    os.environ["XDG_CACHE_HOME"] = os.environ["XDG_CONFIG_HOME"]
os.environ["TAPSCAN_REGISTER"] = str(Path(os.environ["XDG_CONFIG_HOME"]) / "no-such-folder")
# what the person who runs the tests keeps as defaults of his shop is not the tests' affair, nor are the tests' registers his

import pytest
from threadpoolctl import threadpool_limits

from tapscan.workers import cores
from tapscan.workers.memory import keep_freed
from tests.browser import browser  # noqa: F401  a fixture of all
from tests.compiled import imported_in_parts, modules_compiled
from tests.dealt_out import WAITING, dealt_out
from tests.drawn_once import drawn_once  # noqa: F401  a fixture of those that ask for it
from tests.measured_once import measured_once  # noqa: F401  a fixture of those that ask for it
from tests.registers import made_alike  # noqa: F401  a fixture of all

tempfile.tempdir = None  # it was asked for before this file was read
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # else every process that a test begins compiles all modules again
sys.dont_write_bytecode = False
keep_freed()
atexit.register(shutil.rmtree, os.environ["XDG_CONFIG_HOME"], ignore_errors=True)


COUNT = itertools.count()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """For `-n auto`: two more than there are cores, since the tests of recorder and page spend much of their time waiting."""
    return cores() + len(WAITING)


@pytest.hookimpl(tryfirst=True)
def pytest_sessionstart(session: pytest.Session) -> None:
    """Before the processes begin among which the tests are dealt out."""
    if session.config.getoption("dist", "no") != "no":
        modules_compiled()


@pytest.hookimpl(wrapper=True)
def pytest_collection(session: pytest.Session) -> Iterator[None]:
    """Importing makes next to no garbage, and each search for it goes through all that was imported."""
    gc.disable()
    try:
        if "PYTEST_XDIST_WORKER" in os.environ:
            imported_in_parts(session.config.args)
        return (yield)
    finally:
        gc.enable()


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Alike in all processes, as it must be."""
    items[:] = dealt_out(items, int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1")))


def pytest_collection_finish() -> None:
    """What was collected stays to the end: looking through it for garbage, even once, takes longer than it frees."""
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)


def pytest_unconfigure() -> None:
    """Pytest looks for what only the last garbage would tell; what one of several processes finds then, nobody is told."""
    if "PYTEST_XDIST_WORKER" in os.environ:
        gc.freeze()


@pytest.fixture(scope="session")
def _users(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("users")


@pytest.fixture(autouse=True, scope="module")
def _no_register_of_another_module_remembered(_users: Path) -> Iterator[None]:
    """What a module's own fixtures made is gone once it is done: a register that is remembered and gone is taken for lost."""
    own = _users / str(next(COUNT))
    own.mkdir()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CONFIG_HOME", str(own))
        yield


@pytest.fixture(autouse=True)
def _no_register_remembered(monkeypatch: pytest.MonkeyPatch, _users: Path) -> None:
    """Each test is a user of its own; which register another test used last is not its affair."""
    own = _users / str(next(COUNT))
    own.mkdir()
    monkeypatch.setenv("XDG_CONFIG_HOME", str(own))


@pytest.fixture(autouse=True, scope="session")
def _one_thread() -> Iterator[None]:
    """Small matrices: more threads only wait for each other, above all beside another test process."""
    with threadpool_limits(1):
        yield
