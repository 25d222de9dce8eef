"""The recording screen of a plate that is to be left as it is: the stop stands first, and nothing begins without leave, whoever posts what."""

import datetime as dt
import re
from pathlib import Path

import pytest

from tapscan.page.server import HERE
from tapscan.places import IN_PIANO, STATES
from tapscan.records import ScanConditions
from tapscan.register.entries import Outcome
from tapscan.register.scans import add_outcome
from tapscan.register.unfinished import unfinished_scans
from tapscan.workflow import typed_recording
from tests.every import each
from tests.register.test_left_alone import NOW, WHO, begin
from tests.register.test_mending import silent

STATIC = Path(typed_recording.__file__).parents[1] / "page/static"


@pytest.fixture
def flawed(site, monkeypatch):
    entry = silent(site.register, "2026-03-14", checklist=(), conditions=ScanConditions(state="strung"))
    begun = begin(site.register).id
    add_outcome(site.register, entry.name, Outcome("crack", "penetrant", "A. Ulm", dt.date(2026, 4, 2)))
    monkeypatch.setattr(typed_recording, "open_briefly", lambda input_: 48000)
    return site, begun


def main(html: str) -> str:
    return html[html.index("<main") :]


@each("address", ["/record/new?plate=B12", "/record?id=1", "draft"])
def test_the_stop_stands_before_all_else(address, flawed):
    site, _ = flawed
    with site.client(follow_redirects=True) as client:
        shown = site.post(client, "/draft/new", plate="B12") if address == "draft" else client.get(address)
    page = main(shown.text)
    assert page.index('id="stop"') < page.index("<form") and "do not tap" in page
    if address == "draft":
        assert "exist already" in page
    else:
        assert 'name="allowed"' in page


def test_no_post_begins_it_or_goes_on_without_leave(flawed):
    site, begun = flawed
    with site.client() as client:
        for address, field in (("/record/new", {"plate": "B12"}), ("/record/go-on", {"id": begun})):
            for more in ({}, {"state": "strung"}, {"allowed_by": WHO}):
                refused = site.post(client, address, layout="grand-short", order="soft", **field, **more)
                assert refused.status_code == 409 and "tick that below" in main(refused.text), (address, more)
                assert "--allowed-by" not in refused.text
        assert len(unfinished_scans(site.register)) == 1


def test_with_leave_it_begins_and_who_gave_it_is_kept(flawed):
    site, _ = flawed
    typed = {"layout": "grand-short", "order": "soft", "state": "strung"}
    named = typed_recording.begin_typed(site.register, "B12", {**typed, "allowed": "yes", "allowed_by": WHO})
    assert WHO in named.facts.notes
    ticked = typed_recording.begin_typed(site.register, "B12", {**typed, "allowed": "yes"})
    assert "not named" in ticked.facts.notes
    assert typed_recording.begin_typed(site.register, "B12", {**typed, "state": "stripped"}).facts.notes is None


def test_the_button_comes_with_the_tick_or_out_of_the_piano(flawed, browser_page):
    site, begun = flawed
    browser_page.goto(f"http://{HERE}:{site.port}/record/new?plate=B12")
    button = browser_page.locator("#begin")
    assert not button.is_visible()
    browser_page.check("[name=allowed]")
    assert button.is_visible()
    browser_page.uncheck("[name=allowed]")
    for state in STATES:
        browser_page.select_option("#f-state", state)
        assert button.is_visible() == (state not in IN_PIANO), state
    browser_page.goto(f"http://{HERE}:{site.port}/record?id={begun}")
    assert not browser_page.is_visible("#go-on")
    browser_page.check("[name=allowed]")
    assert browser_page.is_visible("#go-on")


def test_the_style_knows_the_states_out_of_the_piano():
    (rule,) = re.findall(r"^\.left-alone.*$", (STATIC / "record.css").read_text(encoding="utf-8"), re.M)
    assert re.findall(r'value="([a-z-]+)"', rule) == [s for s in STATES if s not in IN_PIANO]


def test_a_plate_that_may_be_tapped_is_asked_for_no_leave(site):
    begun = begin(site.register, NOW).id
    with site.client() as client:
        for address in ("/record/new?plate=B12", f"/record?id={begun}"):
            shown = client.get(address).text
            assert 'id="stop"' not in shown and 'name="allowed"' not in shown and "left-alone" not in shown
