"""The page of a register in a browser of its own, and the same without a browser.

`site` is a running server with a register; `browser_page` a page of Debian's Chromium that was let in. In CI these fail where Chromium is missing;
elsewhere they are skipped and say what is missing.
"""

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
import uvicorn
from msgspec import Struct

from tapscan.page.server import HERE, configured, listening, make_app
from tapscan.register.database import Register, open_register
from tests.register.conftest import template  # noqa: F401  a fixture

KEY = "k" * 43
NO_TLS = False  # the page is reached by http: a client need not read all authorities' certificates before it begins


class Site(Struct):
    """A server in a thread."""

    register: Register
    port: int
    app: Any

    @property
    def address(self) -> str:
        return f"http://{HERE}:{self.port}"

    @property
    def door(self) -> Any:
        return self.app.state.door

    def client(self, **more: Any) -> httpx.Client:
        """A browser's worth of headers: cookie and Origin."""
        given = {"cookies": {"tapscan": self.door.cookie}, "headers": {"origin": self.address}, "verify": NO_TLS}
        return httpx.Client(base_url=self.address, timeout=60, **given, **more)

    def post(self, client: httpx.Client, address: str, **fields: Any) -> httpx.Response:
        return client.post(address, data={"token": self.door.token, **fields})


def run(register: Register) -> Iterator[Site]:
    made: socket.socket = listening(0)
    port = made.getsockname()[1]
    app = make_app(register.folder, KEY, port)
    server = uvicorn.Server(configured(app))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [made]}, daemon=True)
    thread.start()
    for _ in range(200):
        if server.started:
            break
        time.sleep(0.05)
    assert server.started
    yield Site(register, port, app)
    server.should_exit = True
    thread.join(1)
    server.force_exit = True  # a connection that a test left open would be waited for
    thread.join(10)


@pytest.fixture
def site(tmp_path: Path, template: Path) -> Iterator[Site]:  # noqa: F811
    yield from run(open_register(Path(shutil.copytree(template, tmp_path / "register"))))


@pytest.fixture
def browser_page(site: Site, browser: Any) -> Iterator[Any]:
    """Let in, at the plates; an error in a script or a refused piece fails the test."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, accept_downloads=True)
    page = context.new_page()
    page.set_default_timeout(30_000)
    trouble: list[str] = []
    page.on("pageerror", lambda error: trouble.append(str(error)))
    page.on("console", lambda said: trouble.append(said.text) if "Content Security Policy" in said.text else None)
    page.goto(f"{site.address}/?key={KEY}")
    yield page
    context.close()
    assert not trouble
