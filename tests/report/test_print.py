"""Printed by a browser: three or four sheets of A4 and of Letter, one or two for a buyer. Simulated scans of the demo's kind, all sections filled."""

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from tapscan.report.beside import Beside
from tapscan.report.page import render_page
from tests.report.test_valid_html import ABOUT, filled

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--no-pdf-header-footer")  # fmt: skip
PAPERS = {"A4": (595, 842), "letter": (612, 792)}  # points


def sheets(page: str, paper: str, folder: Path) -> tuple[int, tuple[int, int]]:
    """How many, and their size in points."""
    source, target = folder / "page.html", folder / "page.pdf"
    source.write_text(page.replace("</head>", f"<style>@page {{ size: {paper}; }}</style></head>"), encoding="utf-8")
    words = [CHROMIUM, *FLAGS, f"--user-data-dir={folder / 'profile'}", f"--print-to-pdf={target}", source.as_uri()]
    subprocess.run(words, check=True, capture_output=True, timeout=120)
    pdf = target.read_bytes()
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", pdf)
    assert box is not None
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf)), (round(float(box[1])), round(float(box[2])))


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium to print with")
@pytest.mark.parametrize("paper", PAPERS)
def test_a_report_prints_on_three_or_four_sheets_and_a_summary_on_one_or_two(paper, tmp_path):
    made = filled()
    beside = Beside()
    report, size = sheets(render_page(made, ABOUT, beside), paper, tmp_path)
    assert all(abs(a - b) <= 1 for a, b in zip(size, PAPERS[paper], strict=True))
    assert 3 <= report <= 4
    assert sheets(render_page(made, ABOUT, replace(beside, summary=True)), paper, tmp_path)[0] <= 2
    assert sheets(render_page(made, ABOUT, replace(beside, full=True)), paper, tmp_path)[0] > report
