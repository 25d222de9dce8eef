"""By keyboard alone, on a narrow screen, and for those who hear the screen read: axe-core finds no serious fault on any page.

axe-core (Deque), rules of WCAG 2.0 to 2.2, levels A and AA; serious and critical faults count.
"""

from functools import cache
from typing import Any

import pytest

from tapscan.register.bars import note_bar
from tapscan.register.entries import Outcome
from tapscan.register.scans import add_outcome
from tests.register import built
from tests.register.conftest import put

WIDE, NARROW = {"width": 1280, "height": 900}, {"width": 390, "height": 844}
LEVELS = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    "resultTypes": ["violations"],
}
PAGES = (
    "/",
    "/plate?name=B12",
    "/plate/new",
    "/plate/edit?name=B12",
    "/scan?name=B12/2026-03-14",
    "/scan/facts?name=B12/2026-03-14",
    "/scan/eye?name=B12/2026-03-14",
    "/visit?plate=B12&on=2026-03-14",
    "/scan/outcome?name=B12/2026-03-14",
    "/scan/mend?name=B12/2026-03-14",
    "/compare?plate=B12",
    "/history?plate=B12",
    "/layouts",
    "/layout?name=grand-dense&state=strung",
    "/layout/draw?name=grand-dense",
    "/record/new?plate=B12",
    "/bars",
    "/bar?name=flat bar",
    "/patterns",
    "/pattern?name=parlour grand",
    "/evidence",
    "/register",
    "/settings",
    "/phone?plate=B12",
    "/nowhere",
)

TOO_LOW = """() => [...document.querySelectorAll(
    '.button, main input:not([type=checkbox],[type=radio],[type=file]), select')]
    .filter(e => e.checkVisibility({visibilityProperty: true}))
    .map(e => [e, e.getBoundingClientRect(), getComputedStyle(e).opacity])
    .filter(([e, box, opacity]) => box.height > 0 && box.height < 44 && opacity !== '0')
    .map(([e, box]) => `${e.outerHTML.slice(0, 90)} is ${Math.round(box.height)} high`)"""


@pytest.fixture
def full(site: Any) -> Any:
    """Two scans, one a baseline, and an outcome."""
    put(site.register, b"one", baseline=True)
    later = put(site.register, b"two")
    note_bar(site.register, "flat bar", "steel, on two pads")
    add_outcome(site.register, later.name, Outcome("crack in strut 2, 60 mm", "penetrant", "A. Ulm", built.DAY))
    return site


@cache
def axe() -> str:
    """Its script."""
    from axe_playwright_python.sync_playwright import Axe

    return str(Axe().axe_script)


def faults(page: Any) -> list[str]:
    if not page.evaluate("'axe' in window"):
        page.evaluate(axe())
    found = page.evaluate("async options => (await axe.run(options)).violations", LEVELS)
    serious = [v for v in found if v["impact"] in ("serious", "critical")]
    return [f"{v['id']}: {node['html'][:160]}" for v in serious for node in v["nodes"]]


@pytest.mark.slow
def test_axe_finds_no_serious_fault_and_nothing_overflows(full, browser_page):
    told, draft = [], full.post(full.client(), "/draft/new", plate="B12").headers["location"]
    for address in (*PAGES, draft):
        browser_page.goto(full.address + address)
        for size in (WIDE, NARROW):
            browser_page.set_viewport_size(size)
            told += [f"{address} {size['width']}: {fault}" for fault in faults(browser_page)]
            wide = browser_page.evaluate("document.documentElement.scrollWidth")
            if wide > size["width"]:
                told.append(f"{address}: {wide} pixels wide on a screen of {size['width']}")
    assert not told, "\n".join(told)


def test_a_plate_is_added_and_found_by_keyboard_alone(site, browser_page):
    page = browser_page
    page.wait_for_load_state("load")
    page.keyboard.press("n")
    page.wait_for_selector("text=A new plate")
    page.keyboard.press("Tab")
    for _ in range(12):
        if page.evaluate("document.activeElement.id") == "f-name":
            break
        page.keyboard.press("Tab")
    page.keyboard.type("C7")
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:has-text('C7')")
    page.goto(site.address)
    page.wait_for_load_state("load")
    page.keyboard.press("/")
    page.keyboard.type("c7")
    page.keyboard.press("Enter")
    page.wait_for_url("**words=c7**")
    assert page.locator("tbody tr").count() == 1


def test_what_the_eye_saw_and_what_was_found_by_keyboard_alone(full, browser_page):
    page = browser_page
    page.goto(f"{full.address}/scan?name=B12/2026-03-14")
    page.keyboard.press("o")
    page.wait_for_selector("text=The tester")
    page.focus("input[name=kind]")
    page.keyboard.press("Space")
    for text in ("a void in strut 3", "replica", "B. Noor"):
        page.keyboard.press("Tab")
        page.keyboard.type(text)
    page.keyboard.press("Enter")
    page.wait_for_selector("text=a void in strut 3")
    page.wait_for_load_state("load")
    page.keyboard.press("?")
    page.wait_for_selector("dialog[open] kbd")
    page.keyboard.press("Escape")
    assert page.locator("dialog[open]").count() == 0


def test_every_field_has_a_name_and_every_control_is_large_enough(full, browser_page):
    """44 pixels: the least side of a target by WCAG 2.1, 2.5.5 (level AAA), since hands are chalky."""
    told = []
    for address in PAGES:
        browser_page.goto(full.address + address)
        told += [f"{address}: {box}" for box in browser_page.evaluate(TOO_LOW)]
    assert not told, "\n".join(told)
