"""A visit in real clicks: the round with a photo, what it comes to, the document."""

import re
from typing import Any

import pytest

from tapscan.places import CHECKLIST
from tapscan.register.plates import find_plate
from tapscan.register.visits import list_visits
from tapscan.screening.next_steps import STOP
from tests.every import each
from tests.report.visits import photo_file

MISTAKE = "a hair on the lens"


def ticked(page: Any, region: str, answer: str, *signs: str) -> None:
    page.check(f"input[name=look-{region}][value={answer}]")
    for sign in signs:
        page.check(f"input[name=sign-{region}][value={sign}]")


@pytest.mark.slow
def test_the_round_is_filled_a_photo_goes_to_its_region_and_the_document_is_read(site, browser_page, tmp_path):
    page = browser_page
    page.click("text=B12")
    page.click("text=A visit today")
    assert "plane of the strings" in page.inner_text("main"), "cautions, before a state is told"
    page.fill("#f-maker", "Hollis & Wren")
    page.select_option("#f-state", "strung")
    ticked(page, "struts", "nothing")
    ticked(page, "corners", "note", "rust-line")
    note = "40 mm, beside the treble break"
    page.fill("#f-note-corners", note)
    page.set_input_files("#region-corners input[type=file]", photo_file(tmp_path))
    page.wait_for_selector("#region-corners .photos img")
    assert page.is_checked("input[name=look-corners][value=note]"), "what was ticked meanwhile is kept with the photo"
    ticked(page, "underside", "hidden")
    page.click("text=Keep it")
    page.wait_for_selector("#comes-to")
    shown = page.inner_text("#comes-to")
    assert "may be a crack" in shown and STOP.text in shown
    (visit,) = list_visits(site.register)
    assert {look.region: look.answer for look in visit.looks} == {
        "struts": "nothing",
        "corners": "note",
        "underside": "hidden",
    }
    assert visit.maker == "Hollis & Wren" and [f.name for f in visit.round[2].photos] == ["p.jpg"]
    page.fill("#f-whom", "Ms Perry")
    page.click("button[value=html]")
    page.wait_for_selector("article#page", timeout=60_000)
    read = page.inner_text("article#page")
    assert "Ms Perry" in read and note in read and "Not looked at" in read
    loaded = page.evaluate("[...document.querySelectorAll('.pictures img')].map(i => i.naturalWidth)")
    assert loaded and all(loaded)
    assert "demagnetised" in read and "more in the appendix" not in read, "whole on a screen"
    page.emulate_media(media="print")
    printed = page.inner_text("article#page")
    assert "demagnetised" not in printed and "more in the appendix" in printed
    assert "demagnetised" in page.inner_text("#all-steps")


@pytest.mark.slow
def test_a_photo_of_the_plate_is_put_to_a_region_and_taken_away_again(site, browser_page, tmp_path):
    page = browser_page
    page.goto(f"{site.address}/visit?plate=B12&on=2026-01-05")
    page.set_input_files("#region-rim input[type=file]", photo_file(tmp_path))
    page.wait_for_selector("#region-rim .photos img")
    page.click("text=Take p.jpg away")
    page.wait_for_selector(".placing")
    page.select_option(".placing select", "horn")
    page.click("text=Put it there")
    page.wait_for_selector("#region-horn .photos img")
    (visit,) = list_visits(site.register)
    assert [look.region for look in visit.looks if look.photos] == ["horn"]
    assert len(find_plate(site.register, "B12").photos) == 1


def test_what_cannot_be_meant_is_refused(site):
    with site.client() as client:
        fields = {"plate": "B12", "on": "2026-01-05"}
        assert site.post(client, "/visit", **fields, **{"look-rim": "fine"}).status_code == 400
        assert site.post(client, "/visit/photo", **fields, sha="00" * 32, region="rim").status_code == 400
        assert site.post(client, "/visit/document", **fields, kind="html").status_code == 404
        assert client.get("/visit", params={"plate": "B12", "on": "2126-01-05"}).status_code == 400
        no_photo = client.put("/visit/photo", params={**fields, "region": "rim", "name": "a.jpg"}, content=b"text", headers={"x-token": site.door.token})  # fmt: skip
        assert no_photo.status_code == 400
        strange = client.put("/visit/photo", params={**fields, "region": "leg", "name": "a.jpg"}, content=b"text", headers={"x-token": site.door.token})  # fmt: skip
        assert strange.status_code == 400
    assert list_visits(site.register) == []


def test_a_round_opened_before_somebody_else_noted_a_line_does_not_undo_it(site):
    with site.client() as one, site.client() as two:
        fields = {"plate": "B12", "on": "2026-01-05"}
        seen = [re.search(r'name="seen" value="(\w+)"', c.get("/visit", params=fields).text)[1] for c in (one, two)]
        line = {"look-corners": "note", "sign-corners": "rust-line"}
        first = site.post(one, "/visit", **fields, **line, seen=seen[0])
        late = site.post(two, "/visit", **fields, **{"look-corners": "nothing"}, seen=seen[1])
        assert (first.status_code, late.status_code) == (303, 400) and "somebody else" in late.text
        (visit,) = list_visits(site.register)
        assert [look.region for look in visit.suspects] == ["corners"]
        again = re.search(r'name="seen" value="(\w+)"', two.get("/visit", params=fields).text)[1]
        assert site.post(two, "/visit", **fields, **line, place="hall", seen=again).status_code == 303
        other_day = one.get("/visit", params={**fields, "on": "2026-01-06"}).text
        assert "Stop. Leave the" in other_day or "stop: do not tune" in other_day, "before anything is noted that day"
        assert "/visit/document" not in other_day


def test_what_an_examination_found_is_noted_there_and_ends_the_stop(site):
    with site.client() as client:
        fields = {"plate": "B12", "on": "2026-01-05"}
        seen = re.search(r'name="seen" value="(\w+)"', client.get("/visit", params=fields).text)[1]
        line = {"look-corners": "note", "sign-corners": "rust-line"}
        assert site.post(client, "/visit", **fields, **line, seen=seen).status_code == 303
        told = {**fields, "region": "corners", "method": "replica", "day": "2026-01-07", "by": "B. Ash"}
        assert site.post(client, "/visit/outcome", **told, kind="odd", found="x").status_code == 400
        assert (
            site.post(client, "/visit/outcome", **{**told, "by": ""}, kind="seen", found="lacquer").status_code == 400
        )
        assert site.post(client, "/visit/outcome", **told, kind="clean", found="the corner").status_code == 303
        assert list_visits(site.register)[0].suspects
        assert site.post(client, "/visit/outcome", **told, kind="seen", found="lacquer only").status_code == 303
        page = client.get("/visit", params=fields).text
        assert (
            f"lacquer only ({told['method']}, by {told['by']}, {told['day']})" in page
            and not list_visits(site.register)[0].suspects
        )


def test_a_sign_that_may_be_a_crack_is_unticked_with_a_reason_alone_and_both_stay_on_the_page(site):
    with site.client() as client:
        fields = {"plate": "B12", "on": "2026-01-05"}
        assert site.post(client, "/visit", **fields, **{"look-rim": "note", "sign-rim": "iron-line"}).status_code == 303
        assert 'name="mistake"' in client.get("/visit", params=fields).text
        away = site.post(client, "/visit", **fields, **{"look-rim": "nothing"})
        assert away.status_code == 400 and "Enter the tester" in away.text and "--" not in away.text
        assert list_visits(site.register)[0].suspects
        back = site.post(client, "/visit", **fields, **{"look-rim": "nothing", "mistake": MISTAKE})
        assert back.status_code == 303 and list_visits(site.register)[0].suspects == ()
        for address in ("/visit", "/plate", "/history"):
            said = client.get(address, params={**fields, "name": "B12"}).text
            assert CHECKLIST["iron-line"] in said and MISTAKE in said, address


def test_who_takes_a_plate_out_of_the_list_is_told_what_is_open(site):
    with site.client() as client:
        fields = {"plate": "B12", "on": "2026-01-05"}
        assert site.post(client, "/visit", **fields, **{"look-rim": "note", "sign-rim": "iron-line"}).status_code == 303
        away = site.post(client, "/plate/retire", name="B12", why="sold")
        assert CHECKLIST["iron-line"] in client.get(away.headers["location"]).text.partition("<h1")[0]


def test_what_last_years_visit_said_stands_beside_the_fields_and_on_the_plates_page(site):
    with site.client() as client:
        fields = {"plate": "B12", "on": "2025-11-28", "maker": "Hollis-Wren"}
        bolts = {"look-nose-bolts": "note", "sign-nose-bolts": "loose-nose-bolts"}
        assert site.post(client, "/visit", **fields, **bolts).status_code == 303
        form = client.get("/visit", params={"plate": "B12", "on": "2026-01-05"}).text
        assert "2025-11-28: Hollis-Wren" in form and 'value="Hollis-Wren"' not in form
        assert CHECKLIST["loose-nose-bolts"] in client.get("/plate", params={"name": "B12"}).text


NOT_KEPT = [
    {"look-rim": "nothing", "sign-rim": "missing-screws"},
    {"sign-rim": "iron-line"},
    {"look-rim": "hidden", "note-rim": "cloth", "sign-rim": "other"},
]


@each("sent", NOT_KEPT)
def test_what_cannot_be_kept_comes_back_in_the_form_with_all_that_was_typed(sent, site):
    with site.client() as client:
        fields = {"plate": "B12", "on": "2026-01-05"}
        more = {
            "maker": "Hollis",
            "look-horn": "note",
            "note-horn": "behind <b>",
            "sign-horn": "repair",
            "state": "strung",
        }
        back = site.post(client, "/visit", **fields, **sent, **more)
        assert back.status_code == 400 and 'role="alert"' in back.text
        assert f'name="sign-rim" value="{sent["sign-rim"]}" checked' in back.text
        for told in (
            'value="Hollis"',
            'name="sign-horn" value="repair" checked',
            "behind &lt;b&gt;",
            '<option value="strung" selected',
        ):
            assert told in back.text, told
        assert list_visits(site.register) == []


def test_a_reason_and_what_it_is_for_come_back_together(site):
    with site.client() as client:
        fields = {"plate": "B12", "on": "2026-01-05"}
        assert site.post(client, "/visit", **fields, **{"look-rim": "note", "sign-rim": "iron-line"}).status_code == 303
        away = {"look-rim": "nothing", "note-horn": "odd", "mistake": MISTAKE}
        back = site.post(client, "/visit", **fields, **away)
        assert back.status_code == 400 and f'value="{MISTAKE}"' in back.text
        assert site.post(client, "/visit", **fields, **{**away, "note-horn": ""}).status_code == 303
