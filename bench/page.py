"""How fast the page answers with a large register.

    python -m bench.page [FOLDER]     writes bench/results/page.txt; FOLDER holds (or will hold) the register for another run

1,000 plates with ten scans each (60 modes at 8 places, by hand as in bench/register.py), served by `tapscan open` in a process of its own and asked over
the network of this computer, one page after the other, for twenty plates spread over the register. Wall time is what a person waits; processor time of the
server is told beside it, since on a machine that does other work the wall tells of that work. The limit is 150 ms in the median.
"""

import os
import platform
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from urllib.parse import quote

import httpx
import numpy as np

import tapscan
from bench.register import fill
from tapscan.register.database import open_register

PLATES, SCANS, LIMIT_MS, ASKED = 1000, 10, 150.0, 20
NEWEST = "2020-09-27"  # the tenth scan's day in bench/register.py
PAGES = {
    "all plates": "/",
    "plates, searched": "/?words={plate}",
    "a plate": "/plate?name={plate}",
    "a reading": "/scan?name={plate}/" + NEWEST,
    "a comparison": "/compare?plate={plate}",
    "tones through time": "/history?plate={plate}",
    "what the eye saw": "/scan/eye?name={plate}/" + NEWEST,
    "an outcome": "/scan/outcome?name={plate}/" + NEWEST,
    "put something right": "/scan/mend?name={plate}/" + NEWEST,
    "layouts": "/layouts",
    "a layout": "/layout?name=grand-dense",
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


def asked(client: httpx.Client, address: str, pid: int) -> tuple[list[float], float]:
    """Milliseconds of each answer, and the processor's a page."""
    names = [f"P{p:04d}" for p in np.linspace(1, PLATES - 1, ASKED).astype(int)]
    client.get(address.format(plate=names[0])).raise_for_status()
    times, before = [], processor_s(pid)
    for name in names:
        start = time.perf_counter()
        client.get(address.format(plate=quote(name))).raise_for_status()
        times.append(1000 * (time.perf_counter() - start))
    return times, 1000 * (processor_s(pid) - before) / len(names)


def measured(folder: Path) -> list[str]:
    """A line a page."""
    server, address = served(folder)
    try:
        with httpx.Client(base_url=address.split("/?")[0], timeout=60) as client:
            for _ in range(100):
                try:
                    client.get(address.removeprefix(str(client.base_url)))
                    break
                except httpx.ConnectError:
                    time.sleep(0.1)
            rows = {name: asked(client, page, server.pid) for name, page in PAGES.items()}
    finally:
        server.terminate()
        server.wait()
    return [
        f"{name:22} {np.median(times):8.0f} {max(times):8.0f} {processor:11.0f}   {'within' if np.median(times) <= LIMIT_MS else 'OVER'}"
        for name, (times, processor) in rows.items()
    ]


def main() -> None:
    """Print and store the table."""
    kept = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    with tempfile.TemporaryDirectory() as temporary:
        folder = kept or Path(temporary) / "register"
        if not folder.exists():
            fill(folder, PLATES, SCANS)
        with open_register(folder).reading() as connection:
            counts = [connection.exec_driver_sql(f"SELECT count(*) FROM {t}").scalar_one() for t in ("plate", "scan")]
        load = os.getloadavg()[0]
        rows = measured(folder)
    lines = [
        f"tapscan {tapscan.__version__}, Python {platform.python_version()}, {os.cpu_count()} cores, {time.strftime('%Y-%m-%d')}; load {load:.1f} before it ran, niceness {os.nice(0)}",
        f"{counts[0]} plates, {counts[1]} scans; {ASKED} answers each; limit {LIMIT_MS:.0f} ms in the median",
        "",
        "milliseconds             median    worst   processor",
        *rows,
    ]
    text = "\n".join(lines) + "\n"
    (Path(__file__).parent / "results" / "page.txt").write_text(text, encoding="utf-8")
    print(text, end="")


if __name__ == "__main__":
    main()
