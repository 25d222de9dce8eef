"""Printed by a browser: three or four sheets of A4 and of Letter, one for a buyer. Simulated scans of the demo's kind, all sections filled."""

import re
import zlib
from typing import Any

import pytest
from msgspec.structs import replace

from tapscan.places import STATES
from tapscan.report.about import About
from tapscan.report.extras import Extras
from tapscan.report.page import render_page
from tapscan.report.pdf import write_pdf
from tapscan.screening import next_steps
from tapscan.screening.compare.limits_told import BLIND, SINGLE
from tests.report.sheets import indication
from tests.report.test_comparison_section import comparison
from tests.report.test_plate_map import on_grand

PAPERS = {"A4": (595, 842), "letter": (612, 792)}  # points


CHANGE = "change-since-baseline"
SENTENCE = (
    "Since the baseline of 2026-03-02 (1 scan), 48 of the 71 tones (modes) compared have become lower, by more than an unchanged plate differs from scan to scan. "
    "The one that stands out most, now at 1273.3 Hz, fell by 0.303 % (± 0.001 %; a semitone is 5.9 %). The tones that fell ring strongest at S4, S1 and S3: look there first."
)
FACTS = (("Plate", "B12"), ("Mass", "104 kg"), ("Supports", "four soft pads"), ("Iron", "22 °C"), ("Sensor", "contact"))
SEEN = (("a line of rust", "seen", "bass corner"), ("a crack in the finish", "not seen", ""))
ABOUT = About(
    "B12",
    "B12/2026-09-02",
    "2026-09-02",
    "small grand",
    "A. Person",
    FACTS,
    (),
    SEEN,
    ("Seen by eye: a line of rust, bass corner.",),
)


ONE_FINDING = next_steps.suspected("stripped", [CHANGE])


def changed(steps=ONE_FINDING):
    """As full as the demo's plate that changed."""
    found = (indication(rule=CHANGE, id="C1", sentence=SENTENCE), indication(rule="long-decay", id="D2", status="new"))
    return replace(
        on_grand(),
        headline="Something to look at: the plate sounds different from before",
        lead="The plate does not sound as it did in March 2026: some of its tones have become lower. It may be a crack, or something that was left on. This test cannot tell which.",
        summary=SENTENCE,
        next_steps=tuple(s.line for s in steps),
        indications=found,
        limitations=(SINGLE, BLIND, SINGLE, BLIND),
        comparison=comparison(),
    )


def pages_of(pdf: bytes) -> int:
    """By the page tree's own count, packed or not."""
    packed = re.findall(rb"stream\r?\n(.*?)endstream", pdf, flags=re.DOTALL)
    plain = pdf + b"".join(zlib.decompressobj().decompress(p) for p in packed if p[:1] == b"\x78")
    return int(re.findall(rb"/Count\s+(\d+)", plain)[0])


def sheets(browser: Any, page: str, paper: str) -> tuple[int, tuple[int, int]]:
    """How many, and their size in points; margins are the page's own."""
    tab = browser.new_page()
    tab.set_content(page.replace("</head>", f"<style>@page {{ size: {paper}; }}</style></head>"))
    pdf = tab.pdf(prefer_css_page_size=True)
    tab.close()
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", pdf)
    assert box is not None
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf)), (round(float(box[1])), round(float(box[2])))


@pytest.mark.parametrize("paper", PAPERS)
def test_a_report_prints_on_three_or_four_sheets_and_a_summary_on_one(browser, paper):
    made = changed()
    beside = Extras()
    report, size = sheets(browser, render_page(made, ABOUT, beside), paper)
    assert all(abs(a - b) <= 1 for a, b in zip(size, PAPERS[paper], strict=True))
    assert 3 <= report <= 4
    assert sheets(browser, render_page(made, ABOUT, replace(beside, summary=True)), paper)[0] == 1
    assert sheets(browser, render_page(made, ABOUT, replace(beside, full=True)), paper)[0] > report


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("state", [*STATES, None])
def test_a_summary_is_one_sheet_in_every_state_as_a_pdf_too(browser, tmp_path, paper, state):
    """With every step that a suspected plate may get. WeasyPrint, which makes the PDF, sets lines otherwise than a browser."""
    steps = next_steps.suspected(state, [CHANGE, "long-decay"], earlier=True)
    page = render_page(changed(steps), ABOUT, Extras(summary=True))
    assert sheets(browser, page, paper)[0] == 1
    write_pdf(page, tmp_path / "summary.pdf", paper)
    assert pages_of((tmp_path / "summary.pdf").read_bytes()) == 1
