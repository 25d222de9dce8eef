"""The pages shown in docs/reading-a-report.md, made anew: the demo's plates into a register, their reports, and pictures of their first screens.

    python -m bench.report_pages [FOLDER]      pages into FOLDER (left there), pictures into docs/reports

Needs Chromium for the pictures. Everything is simulated and invented.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from tapscan.demo.shop import PLATES, DemoPlate, iron_c

DOCS = Path(__file__).parents[1] / "docs" / "reports"
DAYS = {1: "2026-03-02", 2: "2026-09-02"}
PAGES = (
    ("BY-11", 2, "nothing-found"),
    ("BY-12", 2, "changed-since-baseline"),
    ("BY-13", 1, "something-to-look-at"),
    ("BY-13", 2, "earlier-finding-stands"),
    ("BY-14", 1, "repeat-the-test"),
    ("BY-15", 1, "strung"),
)
SHOP = 'name = "Kettle Lane Pianos"\ncontact = "12 Kettle Lane, by appointment"\n'
ALTHOUGH = "the first scan there is"  # one of the plates has a finding in it
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
)


def tapscan(*words: str, folder: Path) -> None:
    """One command, its words thrown away."""
    subprocess.run([sys.executable, "-m", "tapscan", *words], check=True, cwd=folder, stdout=subprocess.DEVNULL)


def pages(folder: Path) -> dict[str, Path]:
    """Reports of the demo's plates, by the name of the picture."""
    folder.mkdir(parents=True, exist_ok=True)
    if not (folder / "tapscan-demo").exists():
        tapscan("demo", folder=folder)
    (folder / "shop.toml").write_text(SHOP)
    shutil.rmtree(folder / "register", ignore_errors=True)
    for plate in PLATES:
        tapscan("plate", "add", plate.name, "--register", "register", folder=folder)
        for number in range(1, len(plate.cases) + 1):
            tapscan(*_import_words(plate, number), folder=folder)
    for plate_name, number, name in PAGES:
        _report(folder, f"{plate_name}/{DAYS[number]}", name)
    _report(folder, "BY-12/2026-09-02", "summary", "--summary")
    return {name: folder / f"{name}.html" for name in [*(p[2] for p in PAGES), "summary"]}


def _import_words(plate: DemoPlate, number: int) -> list[str]:
    words = ["scan", "import", plate.name, f"tapscan-demo/{plate.name}_scan-{number}.flac"]
    words += ["--layout", f"tapscan-demo/{plate.pattern}.toml", "--order", "soft,hard", "--state", plate.state]
    words += [
        "--sensor",
        "contact",
        "--iron-c",
        f"{iron_c(number - 1)}",
        "--bare",
        "--yes",
        "--date",
        DAYS[number],
    ]
    return [
        *words,
        *(["--baseline", "--although", ALTHOUGH] if number == 1 and len(plate.cases) > 1 else []),
        "--register",
        "register",
    ]


def _report(folder: Path, scan: str, name: str, *more: str) -> None:
    given = ("--shop", "shop.toml", "--register", "register", "--out", f"{name}.html")
    tapscan("report", scan, *given, *more, folder=folder)


def picture(page: Path, target: Path, size: str) -> None:
    """First screen as PNG, by headless Chromium; `size` in pixels: width,height."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        raise SystemExit("no Chromium: apt-get install chromium")
    target.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as profile:
        command = [
            browser,
            *FLAGS,
            f"--user-data-dir={profile}",
            f"--screenshot={target}",
            f"--window-size={size}",
            page.as_uri(),
        ]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def main() -> None:
    """Pages, then pictures."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else tempfile.mkdtemp()).absolute()
    made = pages(folder)
    for name, page in made.items():
        picture(page, DOCS / f"{name}.png", "900,1000" if name == "summary" else "1180,900")
    picture(made["changed-since-baseline"], DOCS / "changed-since-baseline-phone.png", "390,844")
    print(f"pages in {folder}, pictures in {DOCS}")


if __name__ == "__main__":
    main()
