"""Server, line, program and worker stopped at thirty moments each, with a register on PostgreSQL: is anything lost or double?

    python -m bench.server_kills [MOMENTS]     writes bench/results/server_kills.txt

What is done and what is looked at stands in tests/server/kills.py: a recording of six strikes, one of them taken back, or results stored one after another; every
accepted strike and every result that was told is there once and whole. The server is stopped as by a power cut of its program (`pg_ctl -m immediate`), the line is cut in a
relay of our own, program and worker are killed (SIGKILL). Moments are spread evenly over the work, or follow what was said by a random while. Strikes are bytes without sound.
"""

import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np

from bench import study
from tapscan.register.address import Server
from tapscan.register.database import Register, make_register, open_register
from tapscan.register.entries import Plate
from tapscan.register.plates import add_plate
from tapscan.workflow.where import place_of
from tests.server import kills
from tests.server.postgres import Line, Postgres

MOMENTS = 30


def count(work: Callable[[int], int], moments: int) -> tuple[int, int, int]:
    """Accepted in all, lost or double, moments at which not all had been said yet. A loss is a failed assertion; it is told and counted."""
    accepted = wrong = early = 0
    for i in range(moments):
        try:
            said = work(i)
            accepted, early = accepted + said, early + (said < kills.STRIKES)
        except AssertionError as problem:
            wrong += 1
            print(f"moment {i}: {problem}", file=sys.stderr)
    return accepted, wrong, early


def main() -> None:
    moments = int(sys.argv[1]) if len(sys.argv) > 1 else MOMENTS
    postgres = Postgres()
    try:
        postgres.make()
        postgres.start()
        with tempfile.TemporaryDirectory() as home:
            os.environ.update(XDG_DATA_HOME=home, TAPSCAN_FILES=(Path(home) / "share").as_uri())
            place = place_of(postgres.url(postgres.database("kills")))
            assert isinstance(place, Server)
            register = make_register(place)
            add_plate(register, Plate("B12"))
            text = "\n".join(_lines(postgres, place, register, moments)) + "\n"
    finally:
        postgres.remove()
    (Path(__file__).parent / "results" / "server_kills.txt").write_text(text, encoding="utf-8")
    print(text, end="")


def _lines(postgres: Postgres, place: Server, register: Register, moments: int) -> list[str]:
    line = Line(postgres.port)
    far = open_register(place_of(place.url.replace(f":{postgres.port}/", f":{line.port}/")))
    at = np.linspace(0, 1, moments) * kills.LASTS_S
    later = np.random.default_rng(9).uniform(0, 0.05, moments)
    works: dict[str, Callable[[int], int]] = {
        "server": lambda i: kills.server_killed(postgres, register, at[i]),
        "line": lambda i: kills.line_cut(line, far, at[i]),
        "program": lambda i: kills.client_killed(place, register, i % (kills.STRIKES + 1), later[i]),
        "worker": lambda i: kills.worker_killed(place, register, i % 6, later[i]),
    }
    lines = [f"{study.head()}; load {os.getloadavg()[0]:.1f}, the machine is shared", ""]
    lines.append(f"{'stopped':10} {'moments':>8} {'accepted':>9} {'lost or double':>15} {'before the end':>15}")
    for name, work in works.items():
        accepted, wrong, early = count(work, moments)
        lines.append(f"{name:10} {moments:8} {accepted:9} {wrong:15} {early:15}")
    line.close()
    return lines


if __name__ == "__main__":
    main()
