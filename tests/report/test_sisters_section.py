"""The page among plates of its pattern, and the record that a register keeps of it."""

from msgspec.structs import replace

from tapscan.plain_values import plain, revived
from tapscan.records import BesidePattern
from tapscan.report.as_json import to_json
from tapscan.report.page import render_page
from tapscan.report.sections.sisters import sisters_section
from tapscan.screening.pattern.among_sisters import beside_pattern, with_pattern
from tapscan.screening.pattern.references import reference_of
from tapscan.settings import Settings
from tests.report.sheets import screening
from tests.unit.castings import casting, reference, severed


def called():
    scan = casting(0, severed())
    sisters = [replace(reference(n), name="<b>G1</b>") if n == 1 else reference(n) for n in range(1, 6)]
    odd = replace(reference(6, severed()), name="odd one")
    found = beside_pattern("small <grand>", reference_of("plate", scan, "contact"), scan, [odd, *sisters], Settings())
    return with_pattern(replace(screening(), scan=scan, indications=(), comparison=None), found, Settings())


def test_the_page_shows_the_plate_among_the_others_and_escapes_their_names():
    page = render_page(called())
    section = page[page.index('<section id="sisters"') :].split("</section>")[0]
    assert "<svg" in section and "odd one" in section and "unlike the other references" in section
    assert "&lt;b&gt;G1" in section and "<b>G1" not in page and "small <grand>" not in page
    assert 'href="#sisters"' in page


def test_what_the_register_keeps_comes_back_equal():
    found = called().pattern
    assert found is not None and revived(BesidePattern, plain(found)) == found


def test_json_and_disposition_carry_the_finding():
    said = to_json(called())
    assert said["disposition"] == "relevant indication" and said["indications"][0]["id"] == "P1"
    assert said["pattern"]["unlike"]["value"] > said["pattern"]["unlike"]["limit"]
    assert len(said["pattern"]["used"]) == 5 and said["pattern_reason"] is None
    alone = to_json(screening())
    assert alone["pattern"] is None and alone["pattern_reason"]


def test_nothing_to_show_is_no_section():
    assert sisters_section(None) is None
