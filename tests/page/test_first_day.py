"""A newcomer's way from a recording to a report, in real clicks."""

from pathlib import Path

import pytest

from tapscan.demo.shop import ORDER, PLATES, SAMPLE_RATE_HZ, layout_text, sound_of
from tapscan.recording.files import save_flac
from tapscan.register.scans import list_scans
from tapscan.workflow.own_layouts import keep_layout


@pytest.fixture(scope="session")
def take(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A simulated take of the demo's first plate: 20 places, a soft and a hard tap at each."""
    path = tmp_path_factory.mktemp("take") / "take.flac"
    save_flac(path, sound_of(PLATES[0], 0), SAMPLE_RATE_HZ)
    return path


@pytest.mark.slow
def test_from_files_to_a_report(site, browser_page, take):
    keep_layout(site.register.folder, "parlour", layout_text(PLATES[0]))
    page = browser_page
    page.click("text=B12")
    page.click("text=New scan from files")
    page.click("button:has-text('Begin')")
    page.select_option("#f-layout", "parlour")
    page.fill("#f-order", ",".join(ORDER))
    page.select_option("#f-state", PLATES[0].state)
    page.select_option("#f-sensor", "contact")
    page.set_input_files("#choose", take)
    page.wait_for_selector("#map", timeout=120_000)
    assert page.input_value("#f-order") == ",".join(ORDER)
    first = page.locator("tr[data-station=S1] .tap")
    assert first.count() == len(ORDER)
    first.first.drag_to(page.locator("#map [data-station=S5]"))
    page.wait_for_selector("tr[data-station=S5] .tap:has-text('T1 ')")
    page.focus("tr[data-station=S5] .tap:has-text('T1 ') input")
    page.keyboard.press("Space")
    page.keyboard.press("m")
    page.select_option("#f-station", "S1")
    page.click("text=Move them")
    page.wait_for_selector("tr[data-station=S1] .tap:has-text('T1 ')")
    page.click("#store")
    page.wait_for_selector("text=What to do next", timeout=240_000)
    (entry,) = list_scans(site.register, "B12")
    assert entry.current.headline == page.inner_text("h1")
    assert not list((site.register.folder / "drafts").iterdir())
    page.click("text=One page for a buyer")
    page.wait_for_selector("text=Name and qualification", state="attached", timeout=120_000)
