"""How fast the page answers with a large register.

    python -m bench.page [FOLDER] [PLATES]     writes bench/results/page.txt; FOLDER holds (or will hold) the register for another run; with fewer PLATES it only prints

1,000 plates with ten scans each (60 modes at 8 places, by hand: bench/large_register.py), served by `tapscan open` in a process of its own and asked over
the network of this computer, one page after the other, for twenty plates spread over the register. What a page counts only when it is asked to (patterns held against
each other, what examinations found) is timed by nobody here: it takes a minute with so many, and shows its progress. Wall time is what a person waits; processor time of the
server is told beside it, since on a machine that does other work the wall tells of that work. The limit is 150 ms in the median.
"""

import datetime as dt
import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from urllib.parse import quote

import httpx
import numpy as np

from bench import study
from bench.large_register import large_register
from bench.register import CONDITIONS
from tapscan.register.database import Register, open_register
from tapscan.register.entries import NewScan
from tapscan.register.plates import list_plates
from tapscan.workflow.draft import begin_draft
from tapscan.workflow.record import begin_recording

PLATES, SCANS, LIMIT_MS, ASKED = 1000, 10, 150.0, 20
NEWEST = "2020-09-27"  # the tenth scan's day in bench/register.py
PAGES = {
    "the list of plates": "/",
    "plates, searched": "/?words={plate}",
    "a plate": "/plate?name={plate}",
    "a reading": "/scan?name={plate}/" + NEWEST,
    "how it was made": "/scan/facts?name={plate}/" + NEWEST,
    "a comparison": "/compare?plate={plate}",
    "tones through time": "/history?plate={plate}",
    "what the eye saw": "/scan/eye?name={plate}/" + NEWEST,
    "an outcome": "/scan/outcome?name={plate}/" + NEWEST,
    "put something right": "/scan/mend?name={plate}/" + NEWEST,
    "a new plate": "/plate/new",
    "a plate, to change": "/plate/edit?name={plate}",
    "a scan from files": "/draft?id={draft}",
    "record at the plate": "/record/new?plate={plate}",
    "a recording that rests": "/record?id={recording}",
    "a visit": "/visit?plate={plate}",
    "from the phone": "/phone?plate={plate}",
    "layouts": "/layouts",
    "a layout": "/layout?name=grand-dense",
    "a sheet to chalk from": "/layout/sheet?name=grand-dense",
    "drawing on a photo": "/layout/draw?name=grand-dense",
    "reference bars": "/bars",
    "a reference bar": "/bar?name=flat bar",
    "patterns": "/patterns",
    "a pattern": "/pattern?name=pattern 1",
    "what examinations found": "/evidence",
    "the register": "/register",
    "settings": "/settings",
}


def served(folder: Path) -> tuple[subprocess.Popen, str]:
    """The server, and its address with the key."""
    line = [sys.executable, "-u", "-m", "tapscan", "open", "--no-browser", "--port", "0", "--register", str(folder)]
    server = subprocess.Popen(line, stdout=subprocess.PIPE, text=True)
    assert server.stdout is not None
    found = re.search(r"http://\S+", server.stdout.readline())
    if found is None:
        raise RuntimeError("the server said no address")
    return server, found[0]


def processor_s(pid: int) -> float:
    """Of all its threads, so far (Linux)."""
    parts = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(parts[11]) + int(parts[12])) / os.sysconf("SC_CLK_TCK")


def begun(register: Register) -> list[dict[str, str]]:
    """Of each plate that is asked for: its name, a draft and a recording that was stopped."""
    numbers = np.linspace(1, len(list_plates(register)) - 1, ASKED).astype(int)
    facts = NewScan(dt.date.today(), CONDITIONS)
    made = []
    for name in [f"P{p:04d}" for p in numbers]:
        recording = begin_recording(register, name, facts, "grand-short", ("soft", "hard")).id
        made.append({"plate": quote(name), "draft": begin_draft(register, name).id, "recording": str(recording)})
    return made


def asked(client: httpx.Client, address: str, pid: int, plates: list[dict[str, str]]) -> tuple[list[float], float]:
    """Milliseconds of each answer, and the processor's a page."""
    client.get(address.format(**plates[0])).raise_for_status()
    times, before = [], processor_s(pid)
    for one in plates:
        start = time.perf_counter()
        client.get(address.format(**one)).raise_for_status()
        times.append(1000 * (time.perf_counter() - start))
    return times, 1000 * (processor_s(pid) - before) / len(plates)


def measured(folder: Path) -> list[str]:
    """A line a page."""
    plates = begun(open_register(folder))
    server, address = served(folder)
    try:
        with httpx.Client(base_url=address.split("/?")[0], timeout=60) as client:
            for _ in range(100):
                try:
                    client.get(address.removeprefix(str(client.base_url)))
                    break
                except httpx.ConnectError:
                    time.sleep(0.1)
            rows = {name: asked(client, page, server.pid, plates) for name, page in PAGES.items()}
    finally:
        server.terminate()
        server.wait()
    return [
        f"{name:24} {np.median(times):8.0f} {max(times):8.0f} {processor:11.0f}   {'within' if np.median(times) <= LIMIT_MS else 'OVER'}"
        for name, (times, processor) in rows.items()
    ]


def main() -> None:
    """Print the table, and store it where it is of the whole size."""
    kept = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    plates = int(sys.argv[2]) if len(sys.argv) > 2 else PLATES
    with tempfile.TemporaryDirectory() as temporary:
        folder = kept or Path(temporary) / "register"
        if not folder.exists():
            large_register(folder, plates, SCANS)
        with open_register(folder).reading() as connection:
            counts = [connection.exec_driver_sql(f"SELECT count(*) FROM {t}").scalar_one() for t in ("plate", "scan")]
        load = os.getloadavg()[0]
        rows = measured(folder)
    lines = [
        f"{study.head()}; load {load:.1f} before it ran, niceness {os.nice(0)}",
        f"{counts[0]} plates, {counts[1]} scans; {ASKED} answers each; limit {LIMIT_MS:.0f} ms in the median",
        "",
        "milliseconds               median    worst   processor",
        *rows,
    ]
    text = "\n".join(lines) + "\n"
    if counts[0] >= PLATES:
        (Path(__file__).parent / "results" / "page.txt").write_text(text, encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
