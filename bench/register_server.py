"""How fast a register on PostgreSQL answers with 1,000 plates and 10,000 scans, and how long it takes to move it there.

    python -m bench.register_server [URL]     writes bench/results/register_server.txt
    python -m bench.register_server --lists   the lists alone, in a minute: bench/results/register_server_lists.txt; scans without tones, multiplied inside the server

URL is an empty database; without it a server of its own is started in a temporary folder on the disk, with PostgreSQL's own settings. The register is that of
bench/register.py with ten scans a plate (the first has forty), filled in a folder and moved. Rows only, no recordings. The limits are those that
the project set itself: every listing under 200 ms, a comparison under 500 ms; median and worst of twenty plates, or of five listings.
"""

import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from bench import study
from bench.register import PLATES, casting, fill, plate_page, store_one
from tapscan.register.database import Register, make_register, open_register
from tapscan.register.entries import Plate
from tapscan.register.glance import glance
from tapscan.register.moving import move_register
from tapscan.register.plates import add_plate, list_plates
from tapscan.register.unfinished import unfinished_scans
from tapscan.settings import Settings
from tapscan.workflow.as_listed import scan_lines
from tapscan.workflow.history import compare_stored, history_of
from tapscan.workflow.where import place_of
from tests.server.postgres import Postgres

TITLE = f"{'milliseconds':22} {'median':>8} {'worst':>8} {'limit':>8}   kept"
SCANS, LISTING_MS, COMPARE_MS = 10, 200.0, 500.0
OF_A_PLATE: dict[str, tuple[Callable[[Register, str], object], float | None]] = {
    "scans of one plate": (plate_page, LISTING_MS),
    "compare": (lambda register, name: compare_stored(register, name, Settings()), COMPARE_MS),
    "history": (lambda register, name: history_of(register, name, Settings()), None),
}
OF_ALL: dict[str, Callable[[Register], object]] = {
    "list of plates": list_plates,
    "plates at a glance": glance,
    "recordings going on": unfinished_scans,
    "all scans": scan_lines,
}


@contextmanager
def address(given: str | None) -> Iterator[str]:
    if given:
        yield given
        return
    server = Postgres(settings=(), home=Path(tempfile.gettempdir()))
    try:
        server.make()
        server.start()
        yield server.url(server.database("bench"))
    finally:
        server.remove()


def times_ms(work: Callable[[], object], often: int) -> list[float]:
    times = []
    for _ in range(often):
        start = time.perf_counter()
        work()
        times.append(1000 * (time.perf_counter() - start))
    return times


def line(name: str, times: list[float], limit_ms: float | None) -> str:
    told = "" if limit_ms is None else f"{limit_ms:8.0f}   {'yes' if np.median(times) < limit_ms else 'NO'}"
    return f"{name:22} {np.median(times):8.1f} {max(times):8.1f} {told}".rstrip()


def rows(register: Register) -> list[str]:
    names = [f"P{p:04d}" for p in np.linspace(1, PLATES - 1, 20).astype(int)]
    lines = []
    for name, (work, limit) in OF_A_PLATE.items():
        work(register, names[0])
        lines.append(
            line(name, [t for n in names for t in times_ms(lambda n=n, work=work: work(register, n), 1)], limit)
        )
    for name, listing in OF_ALL.items():
        listing(register)
        lines.append(line(name, times_ms(lambda listing=listing: listing(register), 5), LISTING_MS))
    numbers = iter(range(100, 120))
    stored = [t for n in numbers for t in times_ms(lambda n=n: store_one(register, "P0500", 500, n), 1)]
    return [*lines, line("store a scan", stored, None)]


MULTIPLIED = (
    "INSERT INTO plate (name, name_key, added_utc) SELECT 'P' || n, 'p' || n, '' FROM generate_series(2, {plates}) n",
    """INSERT INTO scan (plate_id, date, number, baseline, stored_utc, state)
       SELECT p.row, s.date + 30 * n, 1, n < 2, s.stored_utc, s.state FROM plate p, scan s, generate_series(1, {scans}) n WHERE s.row = 1""",
    """INSERT INTO screening (scan_id, number, made_utc, tapscan_version, settings_sha256, settings_text, disposition, headline, summary)
       SELECT s.row, 1, x.made_utc, x.tapscan_version, x.settings_sha256, x.settings_text, x.disposition, x.headline, x.summary
       FROM scan s, screening x WHERE x.scan_id = 1 AND s.row > 1""",
    "ANALYZE",
)


def lists() -> None:
    with tempfile.TemporaryDirectory() as home, address(None) as url:
        os.environ.update(XDG_DATA_HOME=home, TAPSCAN_FILES=(Path(home) / "share").as_uri())
        register = make_register(place_of(url))
        store_one(register, add_plate(register, Plate("P1")).name, 1, 0)
        with register.writing() as connection:
            for text in MULTIPLIED:
                connection.exec_driver_sql(text.format(plates=PLATES, scans=SCANS))
        lines = [
            study.head(),
            f"{len(list_plates(register))} plates, {len(scan_lines(register))} scans; {_machine()}",
            "",
            TITLE,
        ]
        for name, listing in OF_ALL.items():
            listing(register)
            used = time.process_time()
            times = times_ms(lambda listing=listing: listing(register), 11)
            used_ms = 1000 * (time.process_time() - used) / 11
            lines.append(
                f"{line(name, times, LISTING_MS)}   best {min(times):.0f}, of it {used_ms:.0f} of this program's own processor time"
            )
    text = "\n".join(lines) + "\n"
    (Path(__file__).parent / "results" / "register_server_lists.txt").write_text(text, encoding="utf-8")
    print(text, end="")


def _machine() -> str:
    return f"load {os.getloadavg()[0]:.1f}, the machine is shared"


def main() -> None:
    if "--lists" in sys.argv:
        lists()
        return
    casting(0)
    with tempfile.TemporaryDirectory() as home, address(sys.argv[1] if len(sys.argv) > 1 else None) as url:
        os.environ.update(XDG_DATA_HOME=home, TAPSCAN_FILES=(Path(home) / "share").as_uri())
        folder, _ = fill(Path(home) / "folder", PLATES, SCANS)
        start = time.perf_counter()
        moved = move_register(folder, place_of(url), None, lambda *_: None, leave_missing=True)
        lasted = time.perf_counter() - start
        register = open_register(place_of(url))
        with register.reading() as connection:
            version = connection.exec_driver_sql("SHOW server_version").scalar_one()
            size = connection.exec_driver_sql("SELECT pg_database_size(current_database())").scalar_one()
            modes = connection.exec_driver_sql("SELECT count(*) FROM mode").scalar_one()
        head = f"{study.head()}, PostgreSQL {version}; {_machine()}"
        counted = f"{moved.plates} plates, {moved.scans} scans, {modes} modes: {size / 1e6:.0f} MB; moved and read back in {lasted:.0f} s"
        text = "\n".join((head, counted, "", TITLE, *rows(register))) + "\n"
    (Path(__file__).parent / "results" / "register_server.txt").write_text(text, encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
