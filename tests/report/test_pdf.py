"""The PDF is the page: whole, and not longer than a browser makes it."""

import os
import re
import zlib

import pytest

from tapscan.report.extras import Extras
from tapscan.report.page import render_page
from tapscan.report.pdf import write_pdf
from tests.report.sheets import indication, screening


@pytest.fixture(autouse=True)
def html():
    """WeasyPrint's class; imported here, since that takes a second and every process collects this file."""
    try:
        from weasyprint import HTML
    except (ImportError, OSError):  # not installed, or without Pango
        if os.environ.get("CI"):
            raise
        pytest.skip("WeasyPrint or Pango is not there")
    return HTML


@pytest.mark.parametrize(("paper", "width_mm"), [("A4", 210.0), ("letter", 215.9)])
def test_the_paper_is_the_shops(tmp_path, paper, width_mm):
    """ISO 216 and ANSI Y14.1, from memory; the size stands in the file in points, 72 to the inch."""
    target = tmp_path / "page.pdf"
    write_pdf(render_page(screening(), None, Extras(summary=True)), target, paper)
    packed = re.findall(rb"stream\r?\n(.*?)endstream", target.read_bytes(), flags=re.DOTALL)
    plain = b"".join(zlib.decompressobj().decompress(p) for p in packed if p[:1] == b"\x78")
    width = float(re.search(rb"/MediaBox \[0 0 ([\d.]+)", plain).group(1))
    assert width / 72 * 25.4 == pytest.approx(width_mm, abs=0.3)
    assert [p.name for p in tmp_path.iterdir()] == ["page.pdf"]


def boxes(box):
    """All boxes below one, in order."""
    yield box
    for child in getattr(box, "children", ()):
        yield from boxes(child)


def test_three_indications_fill_a_few_pages_and_no_column_is_squeezed_to_a_letter(html):
    """WeasyPrint once set the facts of an indication one letter to a line, over 34 pages."""
    sheet = screening(indications=tuple(indication(id=f"D{k}") for k in range(3)))
    pages = html(string=render_page(sheet)).render().pages
    assert 3 <= len(pages) <= 12
    answers = [b for page in pages for b in boxes(page._page_box) if b.element_tag == "dd"]
    assert len(answers) > 10
    assert max(b.height for b in answers) < 300  # CSS pixels: a third of a page
