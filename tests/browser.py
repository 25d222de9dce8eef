"""Debian's Chromium, started once for all tests of a process: the page's own, those that print and those with a sound device.

Its shell without a window is taken where it is there: the same engine for a third of the work.

In CI its absence is a failure; elsewhere these tests are skipped and say what is missing.
"""

import os
import shutil
from collections.abc import Iterator
from typing import Any

import pytest

CHROMIUM = ("chromium-headless-shell", "chromium", "chromium-browser")


def chromium() -> str | None:
    return next((path for name in CHROMIUM if (path := shutil.which(name))), None)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    why = None if chromium() else "not installed: chromium (Debian: package chromium)"
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        why = "not installed: playwright (pip install tapscan[test])"
    if why:
        if os.environ.get("CI"):
            pytest.fail(why)
        pytest.skip(why)
    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])
        yield started
        started.close()
