"""A register on a server for each test; where PostgreSQL is missing the tests are skipped, and fail in CI."""

import itertools
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tapscan.register.address import Server
from tapscan.register.database import Register, make_register, open_register
from tapscan.register.entries import Plate
from tapscan.register.plates import add_plate
from tapscan.workflow import where
from tests.server.postgres import Postgres, binaries

COUNT = itertools.count()


@pytest.fixture(scope="session")
def postgres() -> Iterator[Postgres]:
    if sys.platform == "win32":
        pytest.skip("the tests start Debian's PostgreSQL and fork")
    if binaries() is None:
        if os.environ.get("CI"):
            pytest.fail("PostgreSQL is missing: apt install postgresql")
        pytest.skip("PostgreSQL is missing: apt install postgresql")
    server = Postgres(language="de-DE")  # as a shop's server has one
    try:
        server.make()
        server.start()
        server.database("tapscan_template")
        yield server
    finally:
        server.remove()


@pytest.fixture(autouse=True)
def _a_bench_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "bench"))
    (tmp_path / "share" / "files").mkdir(parents=True)
    monkeypatch.setenv("TAPSCAN_FILES", (tmp_path / "share").as_uri())


@pytest.fixture
def address(postgres: Postgres) -> Callable[..., Server]:
    """An empty database's; `register`: one that holds a register with the plate B12."""

    def made(*, register: bool = False) -> Server:
        name = f"t{os.getpid()}_{next(COUNT)}"
        if register and not postgres.sql("tapscan_template", "SELECT 1 FROM pg_tables WHERE tablename = 'plate'"):
            first = make_register(where.place_of(postgres.url("tapscan_template")))
            add_plate(first, Plate("B12", pattern="parlour grand", mass_kg=104.5))
            first.engine.dispose()
        return where.place_of(postgres.url(postgres.database(name, "tapscan_template" if register else "template0")))

    return made


@pytest.fixture
def register(address: Callable[..., Server]) -> Iterator[Register]:
    opened = open_register(address(register=True))
    yield opened
    opened.engine.dispose()
