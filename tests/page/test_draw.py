"""A layout drawn on a photo in real clicks, and by keys alone; what comes out is found by its name."""

from pathlib import Path

import pytest

from tapscan.layouts import layout_text, read_layout
from tapscan.workflow.own_layouts import keep_layout, layout_at
from tests.cli.commands import run
from tests.png import grey_png

WIDE, HIGH = 800, 600


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """A grey picture of 800 by 600."""
    path = tmp_path / "plate.png"
    path.write_bytes(grey_png(WIDE, HIGH, 150))
    return path


class Hand:
    """Clicks at shares of the picture."""

    def __init__(self, page) -> None:
        self.page = page

    def at(self, x: float, y: float) -> dict[str, float]:
        box = self.page.locator("#lines").bounding_box()
        return {"x": x * box["width"], "y": y * box["height"]}

    def click(self, *points: tuple[float, float]) -> None:
        for point in points:
            self.page.locator("#stage").click(position=self.at(*point))


def ready(page) -> None:
    """The script has begun."""
    page.wait_for_selector("#told:has-text('so far')")


def test_on_a_photo_with_a_mouse(site, browser_page, photo):
    page = browser_page
    sent: list[int] = []
    page.on("request", lambda r: sent.append(len(r.post_data or "")) if r.method != "GET" else None)
    page.goto(f"{site.address}/layouts")
    page.click("text=Draw your own on a photo")
    ready(page)
    page.set_input_files("#photo", photo)
    page.wait_for_selector("#picture:not([hidden])")
    hand = Hand(page)
    hand.click((0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.5, 0.95))
    page.keyboard.press("u")
    hand.click((0.1, 0.9))
    page.check("[value=openings]", force=True)
    hand.click((0.3, 0.3), (0.5, 0.3), (0.5, 0.5))
    page.check("[value=struts]", force=True)
    hand.click((0.6, 0.2), (0.6, 0.8))
    page.check("[value=places]", force=True)
    hand.click((0.2, 0.2))
    page.keyboard.type("rim, bass side")
    hand.click((0.6, 0.5))
    page.keyboard.type("strut, middle")
    page.uncheck("#places tr:nth-child(2) [type=checkbox]")
    page.fill("#f-name", "bench")
    page.click("#keep")
    page.wait_for_selector("text=Sheet to chalk from")
    assert max(sent) < photo.stat().st_size + 3000, "the photo was not sent"
    assert not list(site.register.folder.rglob("*.png"))
    layout = read_layout(layout_at(site.register.folder, "bench"))
    assert layout.outline is not None
    assert layout.outline.width_to_height == pytest.approx(WIDE / HIGH, rel=0.01)
    assert [len(p) for p in (layout.outline.edge, *layout.outline.openings)] == [4, 3]
    assert len(layout.outline.struts) == 1
    assert [(s.name, s.where) for s in layout.stations] == [("S1", "rim, bass side"), ("S2", "strut, middle")]
    assert (layout.stations[0].x, layout.stations[0].y) == pytest.approx((0.125, 0.125), abs=0.005)
    assert "strung" in layout.stations[0].states and "strung" not in layout.stations[1].states


def test_a_layout_of_ones_own_is_known_to_the_terminal_and_has_a_sheet(site, monkeypatch, tmp_path):
    keep_layout(site.register.folder, "bench", layout_text("grand-short").replace('"grand-short"', '"bench"'))
    monkeypatch.setenv("TAPSCAN_REGISTER", str(site.register.folder))
    words = read_layout("grand-short").stations[0].where
    told = run("layout", "show", "bench")
    assert told.status == 0 and words in told.out
    assert "bench\n" in run("layout", "list").out
    assert run("layout", "print", "bench", tmp_path / "sheet.html").status == 0
    told = run("layout", "show", "benhc")
    assert told.status == 2 and "bench" not in told.out
    with site.client() as client:
        assert words in client.get("/layout/sheet", params={"name": "bench"}).text


def test_by_keys_alone_and_a_mistake_is_told(site, browser_page):
    page = browser_page
    page.goto(f"{site.address}/layout/draw")
    ready(page)
    page.focus("#stage")
    for way, times in (("ArrowLeft", 20), ("ArrowUp", 20)):
        for _ in range(times):
            page.keyboard.press(way)
    for way in ("ArrowRight", "ArrowDown", "ArrowLeft"):
        page.keyboard.press("Enter")
        for _ in range(40):
            page.keyboard.press(way)
    page.keyboard.press("Enter")
    page.keyboard.press("a")
    page.keyboard.type("tail")
    page.keyboard.press("Tab")
    page.keyboard.type("95")
    page.focus("#f-name")
    page.keyboard.type("by keys")
    page.keyboard.press("Enter")
    page.wait_for_selector("#problem:visible")
    assert "S1" in page.inner_text("#problem")
    page.fill("#places tr:nth-child(1) td:nth-child(3) input", "30")
    page.focus("#keep")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Sheet to chalk from")
    layout = read_layout(layout_at(site.register.folder, "by keys"))
    assert (layout.stations[0].x, layout.stations[0].y) == pytest.approx((0.25, 0.5), abs=0.01)


def test_what_was_drawn_is_there_again_after_the_tab_was_closed(site, browser_page):
    page = browser_page
    page.goto(f"{site.address}/layout/draw")
    ready(page)
    Hand(page).click((0.1, 0.1), (0.9, 0.1), (0.9, 0.9))
    page.reload()
    page.wait_for_selector("#lines .handle")
    assert page.locator("#lines .handle").count() == 3


def test_a_layout_of_ones_own_is_changed_and_another_not_written_over(site, browser_page):
    folder = site.register.folder
    with site.client() as client:
        page = browser_page
        page.goto(f"{site.address}/layout/draw?name=grand-short")
        page.wait_for_selector("#places tbody tr")
        assert page.input_value("#f-name") == ""
        page.fill("#f-name", "mine")
        page.click("#keep")
        page.wait_for_selector("text=Sheet to chalk from")
        before = read_layout(layout_at(folder, "mine"))
        page.goto(f"{site.address}/layout/draw?name=mine")
        ready(page)
        page.fill("#f-note", "changed")
        page.click("#keep")
        page.wait_for_selector("text=Sheet to chalk from")
        after = read_layout(layout_at(folder, "mine"))
        assert after.note == "changed" and after.stations == before.stations
        drawing = '{"name": "mine", "kind": "", "note": "", "width": 1, "height": 1, "edge": []}'
        assert site.post(client, "/layout/draw", drawing=drawing, was="").status_code >= 400
        assert client.post("/layout/draw", data={"drawing": drawing}).status_code == 403
    assert read_layout(layout_at(folder, "mine")) == after
