"""A phone sends a recording or photos by a code: one phone, one thing, then it is out."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from tapscan.page import invitations
from tapscan.page.server import HERE, serve_phones
from tapscan.register.plates import find_plate
from tapscan.workflow.draft import find_draft
from tests.page.conftest import NO_TLS

PNG = b"\x89PNG\r\n\x1a\n" + bytes(64)
WAV = Path(__file__).parents[2] / "reference_recordings" / "real"


@pytest.fixture
def lan(site) -> Iterator[Any]:
    server = serve_phones(site.app, HERE)
    yield site
    server.should_exit = True


def invited(site: Any, draft: str = "") -> str:
    """Address in the code."""
    page = site.post(site.client(), "/phone", plate="B12", draft=draft).text
    return re.search(r"http://127\.0\.0\.1:\d+/p/[\w-]+", page)[0]


def phone(address: str) -> httpx.Client:
    return httpx.Client(
        base_url=address.split("/p/", maxsplit=1)[0],
        headers={"origin": address.split("/p/", maxsplit=1)[0]},
        timeout=30,
        verify=NO_TLS,
    )


def sent(one: httpx.Client, address: str, content: bytes = PNG, **headers: str) -> httpx.Response:
    page = one.get(address)
    token = re.search(r'name="token" content="([\w-]*)"', page.text)
    told = {"x-token": token[1] if token else "", **headers}
    return one.put(f"{address}/file?name=a.png", content=content, headers=told)


def test_without_lan_nothing_listens_for_phones(site):
    assert site.app.state.lan is None
    assert site.post(site.client(), "/phone", plate="B12").status_code == 400
    assert "--lan" in site.client().get("/phone?plate=B12").text


def test_photos_come_to_the_plate_and_the_code_ends(lan):
    address = invited(lan)
    one = phone(address)
    assert sent(one, address).status_code == 200
    assert [p.name for p in find_plate(lan.register, "B12").photos] == ["a.png"]
    token = re.search(r'name="token" content="([\w-]+)"', one.get(address).text)[1]
    assert one.post(f"{address}/done", data={"token": token}).status_code == 200
    assert sent(one, address).status_code == 404


def test_a_recording_comes_to_the_scan_in_the_making(lan):
    draft = lan.post(lan.client(), "/draft/new", plate="B12").headers["location"].split("id=")[1]
    address = invited(lan, draft)
    content = next(WAV.glob("*.flac")).read_bytes()
    assert sent(phone(address), address, content).status_code == 200
    (file,) = find_draft(lan.register, draft).files
    assert file.size_bytes == len(content)


def test_the_first_phone_is_the_only_one(lan):
    address = invited(lan)
    assert phone(address).get(address).status_code == 200
    assert phone(address).get(address).status_code == 403


def test_a_phone_reaches_nothing_else(lan):
    """With its own cookie, and with a made-up address."""
    address = invited(lan)
    one = phone(address)
    one.get(address)
    for other in ("/", "/plate?name=B12", "/p/", "/p/guess", "/register", "/static/../server.py", "/static/draft.js"):
        assert one.get(other).status_code in (403, 404), other
    assert one.get("/", headers={"cookie": f"tapscan={lan.door.cookie}"}).status_code == 404


def test_forged_and_foreign_requests_are_refused(lan):
    address = invited(lan)
    one = phone(address)
    assert sent(one, address, **{"x-token": "0" * 32}).status_code == 403
    assert sent(one, address, origin="http://evil.example").status_code == 403
    assert sent(one, address, host="evil.example").status_code == 421
    assert sent(one, address, b"<svg onload=alert(1)>" * 9).status_code == 400
    assert not find_plate(lan.register, "B12").photos


def test_a_code_ends_by_itself_and_by_a_newer_one(lan, monkeypatch):
    old = invited(lan)
    new = invited(lan)
    assert phone(old).get(old).status_code == 404
    monkeypatch.setattr(invitations.time, "monotonic", lambda: 1e12)
    assert phone(new).get(new).status_code == 404


def test_the_code_holds_the_address(lan, browser_page):
    """Drawn large enough for a camera; what comes through the address is told on the computer."""
    browser_page.goto(f"{lan.address}/phone?plate=B12")
    browser_page.click("text=Show the code")
    browser_page.wait_for_selector("#code svg path", state="attached")
    assert browser_page.locator("#code svg path").count() >= 1
    box = browser_page.locator("#code figure").bounding_box()
    assert box["width"] >= 200
    address = re.search(r"http://\S+/p/\S+", browser_page.inner_text("#code"))[0]
    assert sent(phone(address), address).status_code == 200
    browser_page.wait_for_selector("text=Taken in: a.png")
