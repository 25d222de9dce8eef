"""The rebuilder's day, and a newcomer's: from two recordings to whether the plate changed since spring, and to a report, in real clicks."""

import os
import time
from pathlib import Path
from typing import Any

import pytest

from tapscan.demo.shop import ORDER, PLATES, SAMPLE_RATE_HZ, layout_text, sound_of
from tapscan.recording.files import save_flac
from tapscan.register.scans import list_scans
from tapscan.workflow.draft import begin_draft, change, find_draft, incoming
from tapscan.workflow.keep_draft import beside_earlier, found_in, listen_to, look
from tapscan.workflow.own_layouts import keep_layout, name_of
from tests.register.conftest import put

PLATE = PLATES[1]  # a strut of it cracked between the two simulated scans
STORED_S = 300_000  # ms to wait for a reading on a busy machine
SPRING = "2026-04-14"


@pytest.fixture(scope="module")
def takes(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Two simulated takes: 20 places, a soft and a hard tap at each; the first file is of spring."""
    folder = tmp_path_factory.mktemp("takes")
    paths = [folder / f"{PLATE.name} take {n}.flac" for n in (1, 2)]
    for n, path in enumerate(paths):
        save_flac(path, sound_of(PLATE, n), SAMPLE_RATE_HZ)
    spring = time.mktime(time.strptime(f"{SPRING} 12", "%Y-%m-%d %H"))
    os.utime(paths[0], (spring, spring))
    return paths


def dropped(page: Any, take: Path) -> None:
    page.click("text=New scan from files")
    page.select_option("#f-layout", "own places")
    page.fill("#f-order", ",".join(ORDER))
    page.select_option("#f-state", PLATE.state)
    page.select_option("#f-sensor", "contact")
    page.set_input_files("#choose", take)
    page.wait_for_selector("#map", timeout=120_000)
    page.wait_for_load_state()  # the map shows before the scripts can take a drag


def at(page: Any, station: str, tap: str) -> Any:
    return page.locator(f"tr[data-station={station}] td .tap:has(input[value={tap}])")


def moved(page: Any, station: str, tap: str) -> Any:
    """There, on a page whose scripts are there too: it shows before they can take a drag."""
    tapped = at(page, station, tap)
    tapped.wait_for()
    page.wait_for_load_state()
    return tapped


def mend(page: Any) -> None:
    """A tap goes by drag, and back by keyboard; a whole group goes by its name, and back."""
    page.locator("tr[data-station=S1] td .tap").first.drag_to(page.locator("#map [data-station=S5]"))
    moved(page, "S5", "T1").locator("input").focus()
    page.keyboard.press("Space")
    page.keyboard.press("m")
    assert page.evaluate("document.activeElement.id") == "f-station"
    page.select_option("#f-station", "S1")
    page.click("text=Move them")
    moved(page, "S1", "T1")
    page.locator("tr[data-station=S2] .whole").drag_to(page.locator("tr[data-station=S3]"))
    moved(page, "S3", "T3")
    assert at(page, "S3", "T4").count() == 1
    for tap in ("T3", "T4"):
        at(page, "S3", tap).locator("input").check(force=True)
    page.select_option("#f-station", "-back-")
    page.click("text=Move them")
    moved(page, "S2", "T3")


@pytest.mark.slow
def test_whether_the_plate_changed_since_spring(site, browser_page, takes):
    keep_layout(site.register.folder, "own places", layout_text(PLATE))
    page = browser_page
    page.click("text=B12")
    dropped(page, takes[0])
    assert page.locator("tr[data-station=S1] td .tap").count() == len(ORDER)
    mend(page)
    page.click(f"text=The files are of {SPRING}")
    assert page.is_checked("input[name=baseline]")
    page.click("#store")
    page.wait_for_selector("text=What to do next", timeout=STORED_S)
    page.click(".crumb a")
    dropped(page, takes[1])
    assert page.input_value("#f-operator") == "" and not page.is_checked("input[name=baseline]")
    page.click("#store")
    page.wait_for_selector("text=What to do next", timeout=STORED_S)
    first, second = list_scans(site.register, "B12")
    assert (first.date.isoformat(), first.baseline, second.baseline) == (SPRING, True, False)
    assert second.current.disposition == "relevant indication"
    assert page.inner_text("h1") == second.current.headline
    page.click("text=Compare and listen")
    page.wait_for_selector("text=before and now")
    assert "%" not in page.inner_text(".summary") and SPRING in (page.text_content(".figures-of") or ""), "folded away"
    assert SPRING in page.inner_text(".crumb")
    page.click("#turn")
    page.wait_for_selector("#which:has-text('before')")
    page.click("#turn")
    page.wait_for_selector("#which:has-text('now')")
    page.go_back()
    page.click("text=The whole report")
    page.wait_for_selector("#comparison", state="attached", timeout=STORED_S)
    assert not list((site.register.folder / "drafts").iterdir())


def test_a_layout_called_otherwise_in_its_file_is_offered_and_other_places_are_told(site, takes):
    """What keeps a scan from being compared is said while it can be mended."""
    keep_layout(site.register.folder, "our places", layout_text(PLATE))
    assert name_of(site.register.folder, PLATE.pattern) == "our places"
    earlier = put(site.register).name  # its places are S1 to S3
    draft = begin_draft(site.register, "B12")
    with incoming(draft, "take.flac") as file:
        file.write(takes[1].read_bytes())
    listen_to(find_draft(site.register, draft.id))
    told = {}
    for layout, state in (("", ""), ("our places", "stripped")):
        now = find_draft(site.register, draft.id)
        now = change(now, now.version, {"typed": {"order": "soft,hard", "layout": layout, "state": state}})
        told[layout] = beside_earlier(site.register, now, look(now, found_in(now)))
    assert len(told[""]) == 2 and all(earlier in line for line in told[""].values())
    assert told["our places"] == {}
    with site.client() as client:
        assert "choose the layout" not in client.get(f"/draft?id={draft.id}").text
