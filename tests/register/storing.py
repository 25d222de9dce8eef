"""Run by test_two_at_once.py: processes that store scans into one register at the same time, each having opened it itself.

python -m tests.register.storing REGISTER SCANS LABEL...     a line for each scan: its name, or why not
"""

import multiprocessing
import os
import sys
from multiprocessing.synchronize import Barrier
from pathlib import Path

from tapscan.errors import BadRequest
from tapscan.register.database import open_register
from tests.register.conftest import put


def store(folder: str, label: str, scans: int, all_ready: Barrier) -> None:
    register = open_register(Path(folder))
    all_ready.wait(60)
    for i in range(scans):
        try:
            said = put(register, f"{label} {i}".encode()).name
        except BadRequest as problem:
            said = str(problem)
        os.write(1, f"{said}\n".encode())  # in one piece: the others write there too


def main(folder: str, scans: int, labels: list[str]) -> None:
    """Modules are loaded once where the system can fork; no register is open before."""
    context = multiprocessing.get_context("fork" if hasattr(os, "fork") else "spawn")
    all_ready = context.Barrier(len(labels))
    running = [context.Process(target=store, args=(folder, label, scans, all_ready)) for label in labels]
    for one in running:
        one.start()
    for one in running:
        one.join()
    sys.exit(max(abs(one.exitcode or 0) for one in running))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), sys.argv[3:])
