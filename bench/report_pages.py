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

DOCS = Path(__file__).parents[1] / "docs" / "reports"
PLATES = {"BY-11": "parlour-grand", "BY-12": "small-grand", "BY-13": "small-grand"}
DAYS = {1: "2026-03-02", 2: "2026-09-02"}
PAGES = (
    ("BY-11", 2, "nothing-found"),
    ("BY-12", 2, "changed-since-baseline"),
    ("BY-13", 1, "something-to-look-at"),
    ("BY-13", 2, "earlier-finding-stands"),
)
SHOP = 'name = "Kettle Lane Pianos"\ncontact = "12 Kettle Lane, by appointment"\n'
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
    if not (folder / "tapscan-demo").exists():
        tapscan("demo", folder=folder)
    (folder / "shop.toml").write_text(SHOP)
    shutil.rmtree(folder / "register", ignore_errors=True)
    layouts = {p.stem: p for p in (folder / "tapscan-demo").glob("*.toml")}
    for plate, pattern in PLATES.items():
        tapscan("plate", "add", plate, "--register", "register", folder=folder)
        layout = layouts[pattern]
        for number, day in DAYS.items():
            words = [
                "scan",
                "import",
                plate,
                f"tapscan-demo/{plate}_scan-{number}.flac",
                "--layout",
                str(layout),
                "--order",
                "soft,hard",
            ]
            words += [
                "--state",
                "stripped",
                "--sensor",
                "contact pickup",
                "--iron-c",
                "20",
                "--bare",
                "--yes",
                "--date",
                day,
            ]
            tapscan(*words, *(["--baseline"] if number == 1 else []), "--register", "register", folder=folder)
    out = {}
    for plate, number, name in PAGES:
        tapscan(
            "report",
            f"{plate}/{DAYS[number]}",
            "--shop",
            "shop.toml",
            "--register",
            "register",
            "--out",
            f"{name}.html",
            folder=folder,
        )
        out[name] = folder / f"{name}.html"
    tapscan(
        "report",
        "BY-12/2026-09-02",
        "--summary",
        "--shop",
        "shop.toml",
        "--register",
        "register",
        "--out",
        "summary.html",
        folder=folder,
    )
    return {**out, "summary": folder / "summary.html"}


def picture(page: Path, name: str, size: str) -> None:
    """First screen as PNG."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        raise SystemExit("no Chromium: apt-get install chromium")
    DOCS.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as profile:
        command = [
            browser,
            *FLAGS,
            f"--user-data-dir={profile}",
            f"--screenshot={DOCS / name}.png",
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
        picture(page, name, "900,1350" if name == "summary" else "1180,900")
    picture(made["changed-since-baseline"], "changed-since-baseline-phone", "390,844")
    print(f"pages in {folder}, pictures in {DOCS}")


if __name__ == "__main__":
    main()
