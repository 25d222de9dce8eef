"""The PDF is the page: whole, and not longer than a browser makes it."""

import os

import pytest

from tapscan.report.page import render_page
from tests.report.sheets import indication, screening

try:
    from weasyprint import HTML
except (ImportError, OSError):  # not installed, or without Pango
    if os.environ.get("CI"):
        raise
    pytest.skip("WeasyPrint or Pango is not there", allow_module_level=True)


def boxes(box):
    """All boxes below one, in order."""
    yield box
    for child in getattr(box, "children", ()):
        yield from boxes(child)


def test_three_indications_fill_a_few_pages_and_no_column_is_squeezed_to_a_letter():
    """WeasyPrint once set the facts of an indication one letter to a line, over 34 pages."""
    sheet = screening(indications=tuple(indication(id=f"D{k}") for k in range(3)))
    pages = HTML(string=render_page(sheet)).render().pages
    assert 3 <= len(pages) <= 12
    answers = [b for page in pages for b in boxes(page._page_box) if b.element_tag == "dd"]
    assert len(answers) > 10
    assert min(b.width for b in answers) > 100  # CSS pixels: 26 mm
