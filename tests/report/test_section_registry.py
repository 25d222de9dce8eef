"""A section of the page is two files; the page, its contents and links follow from the registry."""

import importlib.util
import re
from collections.abc import Iterator

import pytest
from markupsafe import escape
from msgspec.structs import replace

from tapscan.report.extras import Extras
from tapscan.report.section import Section
from tapscan.report.sections import SECTIONS
from tests.report.sheets import HOSTILE, empty, full_page, screening
from tests.report.test_comparison_section import comparison

pytestmark = pytest.mark.usefixtures("drawn_once")

MODULE = """
from tapscan.report.section import Section

def build(sheet):
    return {"count": len(sheet.screening.scan.strikes), "name": sheet.beside.whom} if sheet.screening.scan.strikes else None

SECTION = Section("weights", "What it weighs", "weights.html", build)
"""
TEMPLATE = '<section id="weights"><h2>Weights</h2><p>{{ count }} of {{ s.headline }} for {{ name }}</p></section>\n'


@pytest.fixture
def weights(tmp_path) -> Section:
    (tmp_path / "weights.py").write_text(MODULE, encoding="utf-8")
    (tmp_path / "weights.html").write_text(TEMPLATE, encoding="utf-8")
    spec = importlib.util.spec_from_file_location("weights", tmp_path / "weights.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    section = module.SECTION
    assert isinstance(section, Section)
    return section


def contents(page: str) -> list[tuple[str, str]]:
    listed = page.split("<nav")[1].split("</nav>", maxsplit=1)[0]
    return re.findall(r'<a href="#([^"]+)">([^<]+)</a>', listed)


def sections_of(page: str) -> Iterator[str]:
    return (m[1] for m in re.finditer(r'<section id="([^"]+)"', page))


def test_two_files_make_a_section_in_the_page_and_in_its_contents(weights):
    page = full_page(screening(), None, Extras(whom=HOSTILE), (*SECTIONS[:2], weights, *SECTIONS[2:]))
    told = page[page.index("<h2>Weights</h2>") :].partition("</p>")[0]
    assert told.partition("<p>")[2] == f"2 of {screening().headline} for {escape(HOSTILE)}"
    ids = [name for name, _ in contents(page)]
    assert ids.index("weights") == ids.index("indications") + 1
    assert ("weights", "What it weighs") in contents(page)


def test_a_section_with_nothing_to_show_is_neither_shown_nor_listed(weights):
    page = full_page(empty(), sections=(*SECTIONS, weights))
    assert "weights" not in page
    assert "appendix" in dict(contents(page))


@pytest.mark.parametrize("made", [screening(), empty(), replace(screening(), comparison=comparison())])
def test_the_contents_name_the_sections_of_the_page_in_their_order(made):
    page = full_page(made)
    assert [name for name, _ in contents(page)] == list(sections_of(page))


def test_each_section_has_its_own_id_and_its_template_beside_it():
    assert len({s.id for s in SECTIONS}) == len(SECTIONS)
    assert all((s.folder / s.template).is_file() for s in SECTIONS)
