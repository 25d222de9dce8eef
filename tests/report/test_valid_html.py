"""The pages are HTML as the standard parses it, and hold to rules that a screen reader needs.

Parser: html5lib, strict (WHATWG parsing algorithm). The rules: WCAG 2.1 success criteria 1.1.1, 1.3.1, 1.4.3, 2.4.2, 3.1.1, checked here from their text.
"""

import functools
import re
from itertools import pairwise
from xml.etree import ElementTree

import html5lib
import numpy as np
import pytest

from tapscan.recording.files import mp3_bytes
from tapscan.report.about import About
from tapscan.report.extras import Course, CourseLine, Extras, Sound, ToneDecay
from tapscan.report.page import render_page
from tapscan.report.shop import Shop
from tapscan.report.time_frequency import time_frequency_of
from tapscan.report.visit_page import render_visit
from tests.register import built
from tests.report.sheets import HOSTILE, full_page
from tests.report.visits import fullest

pytestmark = pytest.mark.usefixtures("drawn_once")

H = "{http://www.w3.org/1999/xhtml}"
COURSE = Course(
    (HOSTILE, HOSTILE),
    ("2026-03-14", "2026-09-14"),
    (0.0, -600.0),
    (CourseLine(300.0, (0.0, None), (1.0, None), "x"),),
    7,
    4,
)
ABOUT = About(
    HOSTILE,
    HOSTILE,
    "2026-03-14",
    HOSTILE,
    HOSTILE,
    (("Plate", HOSTILE),),
    (("Notes", HOSTILE * 3),),
    (("rust", "seen", HOSTILE),),
)


def beside(shop: Shop) -> Extras:
    """A sound, a decay and a course, all with words to be escaped."""
    ring = np.random.default_rng(1).normal(size=16000) * np.exp(-np.arange(16000) / 4000)
    picture, seconds = time_frequency_of(ring, 8000, 0.0), np.linspace(0, 1, 50)
    sound = Sound(HOSTILE, HOSTILE, HOSTILE, mp3_bytes([0.0] * 4000, 8000), picture, (300.0, 9000.0))
    decay = ToneDecay("M1", 60.0, HOSTILE, HOSTILE, seconds, -30 * seconds, 0.0, 3.5, 0.1)
    return Extras(shop, (sound,), (decay,), COURSE, whom=HOSTILE)


@functools.cache
def pages() -> dict[str, str]:
    made = built.screening(("ab" * 32,), pictures=2)
    shop = Shop(name=HOSTILE, contact="12 <Lane>")
    full = beside(shop)
    return {
        "alone": render_page(made),
        "from a register": render_page(made, ABOUT, full),
        "summary": render_page(made, ABOUT, Extras(shop, summary=True)),
        "a visit": render_visit(fullest(words=HOSTILE, note=HOSTILE)),
        "every section": full_page(made, ABOUT, full),
    }


@pytest.fixture(params=["alone", "from a register", "summary", "every section"])
def page(request: pytest.FixtureRequest) -> str:
    return pages()[request.param]


@functools.cache
def parsed(page: str) -> ElementTree.Element:
    return html5lib.HTMLParser(strict=True).parse(page)


def test_the_strict_parser_takes_it(page):
    assert parsed(page) is not None


def test_language_title_and_headings_in_order(page):
    tree = parsed(page)
    assert tree.get("lang") == "en"
    title = tree.find(f".//{H}title")
    assert title is not None and title.text
    levels = [int(e.tag[-1]) for e in tree.iter() if re.fullmatch(H + "h[1-6]", str(e.tag))]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels)), levels


def test_pictures_players_and_tables_have_words(page):
    tree = parsed(page)
    for svg in tree.iter("{http://www.w3.org/2000/svg}svg"):
        hidden = svg.get("aria-hidden") == "true"
        assert (
            hidden
            or svg.find("{http://www.w3.org/2000/svg}title") is not None
            or svg.get("aria-label")
            or svg.get("aria-labelledby")
        )
    assert all(e.get("alt") for e in tree.iter(f"{H}img"))
    assert all(e.get("aria-label") for e in tree.iter(f"{H}audio"))
    for table in tree.iter(f"{H}table"):
        assert table.findall(f".//{H}th"), "a table without headings"
    ids = [e.get("id") for e in tree.iter() if e.get("id")]
    assert len(ids) == len(set(ids))


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_text_stands_out_from_the_paper(page):
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", page.split("@media print")[0]))
    paper = luminance(colours["paper"])
    for name in ("ink", "text", "graphite"):
        dark = luminance(colours[name])
        assert (max(paper, dark) + 0.05) / (min(paper, dark) + 0.05) >= 4.5, name


def test_nothing_from_outside_becomes_markup(page):
    tree = parsed(page)
    assert not list(tree.iter(f"{H}script"))
    assert not [e for e in tree.iter() for name in e.attrib if str(name).startswith("on")]
    for e in tree.iter():
        for name in ("src", "href"):
            assert re.match(r"#|data:", e.get(name, "#")), e.get(name)
