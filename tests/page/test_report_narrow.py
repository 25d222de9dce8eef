"""A report on a telephone: nothing is wider than the screen."""

import pytest

from tapscan.report.extras import Extras
from tapscan.report.page import render_page
from tests.report.test_print import ABOUT, changed

WIDTHS = (320, 390, 1280)


@pytest.mark.parametrize("summary", [False, True])
def test_no_report_is_wider_than_the_screen(browser, tmp_path, summary):
    """The evidence once ran out of its box at 390 pixels."""
    path = tmp_path / "page.html"
    path.write_text(render_page(changed(), ABOUT, Extras(summary=summary)), encoding="utf-8")
    for width in WIDTHS:
        page = browser.new_page(viewport={"width": width, "height": 844})
        page.goto(path.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        wide = "[...document.querySelectorAll('.indication *')].filter(e => e.getBoundingClientRect().right > innerWidth).length"
        assert page.evaluate(wide) == 0, width
        page.close()
