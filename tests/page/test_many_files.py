"""A draft of many single files is short on a phone: a row each, the list of files folded, and whatever needs an answer in sight."""

import json
from typing import Any

from tapscan.plain_values import plain
from tapscan.register.database import Register
from tapscan.workflow.check import Found, TappedFile
from tapscan.workflow.draft import Draft, begin_draft, find_draft, incoming
from tapscan.workflow.keep_draft import FOUND, _heard_of
from tests.page.test_hands import NARROW

WAV = b"RIFF\x24\x00\x00\x00WAVEfmt "
ROW_PX = 72  # of a place and its tap: a button's height, and air


def draft_of(register: Register, count: int, twice: int = 0) -> Draft:
    """With one tap in each file; `twice` : number of the file that holds two."""
    made = begin_draft(register, "B12")
    for k in range(1, count + 1):
        with incoming(made, f"S{k}_1.wav") as file:
            file.write(WAV)
    now = find_draft(register, made.id)
    tapped = tuple(TappedFile(f.name, (0.5, 2.5) if f.number == twice else (0.5,), ()) for f in now.of("plate"))
    told = {"files": _heard_of(now), **plain(Found(tapped, (), ()))}
    (now.folder / FOUND).write_text(json.dumps(told), encoding="utf-8")
    return now


def height(page: Any, address: str, draft: Draft) -> int:
    page.goto(f"{address}/draft?id={draft.id}")
    return int(page.evaluate("document.documentElement.scrollHeight"))


def test_each_file_more_is_one_row_and_what_is_odd_stays_in_sight(site, browser_page):
    page = browser_page
    page.set_viewport_size(NARROW)
    few, many = (height(page, site.address, draft_of(site.register, n, twice=2)) for n in (5, 15))
    assert many - few <= 10 * ROW_PX
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"]
    assert page.locator("tr.odd .remark").is_visible() and page.locator("[name=tap]").count() == 16
    places = page.locator("tr[data-station]").evaluate_all("rows => rows.map((row) => row.dataset.station)")
    assert places == [f"S{k}" for k in range(1, 16)], "S2 before S10"
    assert not page.locator(".files button").first.is_visible()
    page.click(".all-files > summary")
    assert page.locator(".files button").count() == 15 and page.locator(".files button").last.is_visible()
    height(page, site.address, draft_of(site.register, 3))
    assert page.locator(".files button").first.is_visible(), "few need not be opened"
