"""What Python compiles is compiled once, not by each process of a run at the same moment: in a fresh clone that was twice the work of collecting.

modules_compiled()       all but the test modules, before other processes begin
imported_in_parts(args)  test modules, which only pytest can compile: each process begins at a place of its own
"""

import importlib
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PYTESTS_OWN = r"[/\\](test_[^/\\]*|conftest)\.py$"


def modules_compiled() -> None:
    """By two processes; what cannot be compiled is told by the test that imports it."""
    command = [sys.executable, "-m", "compileall", "-q", "-j", "2", "-x", PYTESTS_OWN, "tapscan", "bench", "tests"]
    subprocess.run(command, cwd=ROOT, check=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def _files(args: Sequence[str]) -> list[Path]:
    """Of the test modules that were asked for, in one order in all processes."""
    asked = [(ROOT / arg.split("::")[0]).resolve() for arg in args]
    found = [path for one in asked for path in (sorted(one.rglob("test_*.py")) if one.is_dir() else [one])]
    return [path for path in found if path.is_relative_to(ROOT / "tests") and path.is_file()]


def imported_in_parts(args: Sequence[str]) -> None:
    """One part of the test modules, before all are collected: what each process finds compiled then is what the others had first."""
    number, of = int(os.environ["PYTEST_XDIST_WORKER"].removeprefix("gw")), int(os.environ["PYTEST_XDIST_WORKER_COUNT"])
    files = _files(args)
    for path in files[number * len(files) // of : (number + 1) * len(files) // of]:
        name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        try:
            importlib.import_module(name)
        except (Exception, pytest.skip.Exception):
            continue  # collecting imports it again, and tells
