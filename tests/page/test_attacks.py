"""What is refused, and what is survived. Each row is one attack; all go through the network, none through a short cut.

The list follows what OWASP's Application Security Verification Standard 4 asks of sessions, files and requests (V3, V5, V12, V13), from memory.
"""

import re
import socket
import threading
import time
from collections.abc import Callable
from typing import Any

import httpx

from tapscan.register import tables
from tapscan.register.entries import Plate
from tapscan.register.names import name_key
from tapscan.register.plates import add_plate, find_plate, list_plates
from tests.every import each
from tests.page.asking import host, raw, request, status
from tests.page.conftest import NO_TLS
from tests.page.test_shop import main_of
from tests.snapshots import same_as_before

REFUSED = range(400, 500)
EVIL = "http://evil.example"
MARKUP = "<img src=x onerror=alert(1)>"
PNG = b"\x89PNG\r\n\x1a\n" + bytes(64)
Attack = Callable[[Any], int]


def get(address: str, **more: Any) -> Attack:
    return lambda site: site.client().get(address, **more).status_code


def with_headers(method: str, address: str, **headers: str) -> Attack:
    def ask(site: Any) -> int:
        told = {name.replace("_", "-"): value.replace("PORT", str(site.port)) for name, value in headers.items()}
        client = site.client()
        client.headers.pop("origin")
        told = {"origin": site.address, **told}
        told = {name: value for name, value in told.items() if value}
        fields = {"token": site.door.token, "name": "X1"}
        return client.request(method, address, headers=told, data=fields).status_code

    return ask


def form(address: str, **fields: Any) -> Attack:
    return lambda site: form_of(site, address, **fields).status_code


def form_of(site: Any, address: str, **fields: Any) -> httpx.Response:
    return site.client().post(address, data={"token": site.door.token, **fields})


def put(address: str, content: bytes, **headers: str) -> Attack:
    def ask(site: Any) -> int:
        told = {"x-token": site.door.token, **headers}
        return site.client().put(address, content=content, headers=told).status_code

    return ask


def without_cookie(site: Any) -> int:
    return httpx.get(site.address, verify=NO_TLS).status_code


def cookie(value: str) -> Attack:
    return lambda site: request(site, "GET / HTTP/1.1", host(site), f"Cookie: tapscan={value}", cookie=False)


def of_a_draft(**fields: str) -> Attack:
    def ask(site: Any) -> int:
        began = form_of(site, "/draft/new", plate="B12")
        return form_of(site, "/draft", id=began.headers["location"].split("id=")[1], **fields).status_code

    return ask


def oversize(site: Any) -> int:
    """Two thousand megabytes are announced; not one is waited for."""
    head = f"Content-Length: {2 * 1024**3}"
    told = [host(site), f"Origin: {site.address}", f"X-Token: {site.door.token}", head]
    return request(site, "PUT /plate/photo?plate=B12&name=a.png HTTP/1.1", *told)


def untold_oversize(site: Any) -> int:
    """The same without saying so: what begins as a photo goes on and on."""

    def pieces() -> Any:
        yield PNG
        for _ in range(60):
            yield bytes(1_000_000)

    try:
        told = {"x-token": site.door.token}
        return site.client().put("/plate/photo?plate=B12&name=a.png", content=pieces(), headers=told).status_code
    except httpx.HTTPError:  # the connection was closed while the pieces were still coming
        return 413


def hostile_text_file(site: Any) -> int:
    begun = site.post(site.client(), "/draft/new", plate="B12").headers["location"]
    return put(begun.replace("/draft?", "/draft/file?") + "&name=a.wav", b"MZ this is no sound at all" * 50)(site)


def register_inside_itself(site: Any) -> int:
    answer = site.post(site.client(follow_redirects=True), "/register/backup", target=str(site.register.folder / "in"))
    for _ in range(100):
        if "this could not be done" in answer.text.casefold():
            return answer.status_code
        time.sleep(0.1)
        answer = site.client(follow_redirects=True).get(str(answer.url))
    return 200


ATTACKS: dict[str, Attack] = {
    "a foreign host name": lambda s: request(s, "GET / HTTP/1.1", "Host: evil.example"),
    "a name that resolves to this computer": lambda s: request(s, "GET / HTTP/1.1", f"Host: evil.localhost:{s.port}"),
    "this host, another port": lambda s: request(s, "GET / HTTP/1.1", "Host: 127.0.0.1:1"),
    "no host at all": lambda s: request(s, "GET / HTTP/1.0"),
    "two hosts": lambda s: request(s, "GET / HTTP/1.1", host(s), "Host: evil.example"),
    "a forwarded host": lambda s: request(s, "GET / HTTP/1.1", "Host: evil.example", f"X-Forwarded-{host(s)}"),
    "nobody's cookie": without_cookie,
    "a guessed cookie": cookie("0" * 64),
    "a cookie of odd letters": cookie('"\\303\\244"'),
    "a guessed key": lambda s: httpx.get(f"{s.address}/?key=guess", verify=NO_TLS).status_code,
    "a key of odd letters": lambda s: httpx.get(f"{s.address}/?key=%ff%00%c3%a4", verify=NO_TLS).status_code,
    "a post from another site": with_headers("POST", "/plate/new", origin=EVIL),
    "a post from nowhere": with_headers("POST", "/plate/new", origin=""),
    "a post from a sandbox": with_headers("POST", "/plate/new", origin="null"),
    "a post from another port": with_headers("POST", "/plate/new", origin="http://127.0.0.1:1"),
    "a post over another scheme": with_headers("POST", "/plate/new", origin="https://127.0.0.1:PORT"),
    "a post that the browser calls cross-site": with_headers("POST", "/plate/new", sec_fetch_site="cross-site"),
    "a post as plain text": with_headers("POST", "/plate/new", content_type="text/plain"),
    "a post as JSON": with_headers("POST", "/plate/new", content_type="application/json"),
    "a post in parts": with_headers("POST", "/plate/new", content_type="multipart/form-data; boundary=x"),
    "a delete": with_headers("DELETE", "/plate?name=B12"),
    "a preflight": with_headers("OPTIONS", "/plate/new", origin=EVIL, access_control_request_method="POST"),
    "a trace": with_headers("TRACE", "/"),
    "no token": form("/plate/new", token="", name="X1"),
    "a forged token": form("/plate/new", token="0" * 64, name="X1"),
    "a token of odd letters": form("/plate/new", token="ä" * 64, name="X1"),
    "a file without a token": put("/plate/photo?plate=B12&name=a.png", PNG, **{"x-token": ""}),
    "a file with a forged token": put("/plate/photo?plate=B12&name=a.png", PNG, **{"x-token": "0" * 64}),
    "2 GB announced": oversize,
    "60 MB unannounced": untold_oversize,
    "a form of a megabyte": form("/plate/new", name="X1", notes="x" * 1_000_000),
    "a form of many fields": form("/plate/new", **{f"f{i}": "" for i in range(5000)}),
    "an address without end": get("/?words=" + "x" * 9000),
    "no file in a file": put("/plate/photo?plate=B12&name=a.png", b""),
    "a web page as a photo": put("/plate/photo?plate=B12&name=a.png", b"<html><script>alert(1)</script>" * 9),
    "a drawing with a script as a photo": put("/plate/photo?plate=B12&name=a.svg", b"<svg onload=alert(1)>" * 9),
    "a program as a recording": hostile_text_file,
    "a name that is a path": form("/plate/new", name="../../../etc/cron.d/x"),
    "a name with a line break": form("/plate/new", name="X1\r\nSet-Cookie: a=b"),
    "notes longer than anybody types": form("/plate/new", name="X1", notes="x" * 50_000),
    "a name without end": form("/plate/new", name="x" * 5000),
    "a photo by a path": get("/plate/photo?plate=B12&sha=../../../../etc/passwd"),
    "a photo of nobody": get("/plate/photo?plate=B12&sha=" + "ab" * 32),
    "a document by a path": get("/document?id=../../etc/passwd"),
    "a scan in the making by a path": get("/draft?id=..%2f..%2f..%2fetc"),
    "a layout by a path": get("/layout?name=/etc/hostname.toml"),
    "a layout one folder up": get("/layout/sheet?name=..%2fregister"),
    "a style sheet one folder up": lambda s: request(s, "GET /static/../server.py HTTP/1.1", host(s)),
    "the same, written otherwise": lambda s: request(s, "GET /static/..%2fserver.py HTTP/1.1", host(s)),
    "the same on Windows": lambda s: request(s, "GET /static/..%5cserver.py HTTP/1.1", host(s)),
    "a folder": get("/static/"),
    "a file of the register": get("/register.sqlite"),
    "a null in a path": lambda s: request(s, "GET /static/page.css%00.png HTTP/1.1", host(s)),
    "a scan that is none": get("/scan?name=B12"),
    "a sound of nobody": get("/sound?scan=B12/2026-01-01&station=S1"),
    "a default with a null": form("/settings", shop="\0"),
    "a shop's file with a null in its path": form("/settings", shop="a\0b"),
    "a number of months without end": form("/settings", again_months="9" * 5000),
    "a version that is a null": of_a_draft(seen="\0"),
    "a version without end": of_a_draft(seen="9" * 5000),
    "a file's number without end": of_a_draft(seen="1", act="part:nothing:" + "9" * 5000),
    "a work of nobody": get("/progress?id=1"),
    "a backup within the register": register_inside_itself,
    "a backup by a relative path": form("/register/backup", target="../x"),
    "no HTTP": lambda s: status(raw(s, b"\x16\x03\x01\x02\x00\x01\x00" + bytes(200))),
    "a length that is none": lambda s: request(s, "POST /plate/new HTTP/1.1", host(s), "Content-Length: -5"),
    "a web socket": lambda s: request(
        s, "GET / HTTP/1.1", host(s), f"Origin: {EVIL}", "Upgrade: websocket", "Sec-WebSocket-Version: 13", cookie=False
    ),
}


def test_forty_attacks_and_more_are_refused(site):
    """And after all of them the register is as it was, and answers."""

    @each("name", list(ATTACKS))
    def refused(name: str) -> None:
        assert ATTACKS[name](site) in REFUSED

    assert len(ATTACKS) >= 40
    refused()
    assert [p.name for p, _, _ in list_plates(site.register)] == ["B12"]
    assert not find_plate(site.register, "B12").photos
    assert not list(site.register.folder.glob(".photo-*"))
    assert site.client().get("/").status_code == 200


def test_the_same_request_well_made_is_let_in(site):
    """Or the rows above might be refused for another reason."""
    assert with_headers("POST", "/plate/new")(site) == 303
    assert put("/plate/photo?plate=B12&name=a.png", PNG)(site) == 200
    assert form("/plate/new", name="X2")(site) == 303
    assert request(site, "GET / HTTP/1.1", host(site)) == 200


ANSWERS = ("/", "/plate?name=B12", "/static/page.css", "/nowhere", "/layouts", "/plate/photo?plate=B12&sha=x")


def test_every_answer_tells_the_browser_what_to_forbid(site):
    @each("address", ANSWERS)
    def told(address: str) -> None:
        headers = site.client().get(address).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "script-src 'self';" in policy and "frame-ancestors 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff" and headers["referrer-policy"] == "same-origin"
        assert headers["cache-control"] == "no-store", (
            "another user of this computer finds nothing in the browser's store"
        )
        assert "access-control-allow-origin" not in headers and "server" not in headers

    told()


NAMES = (MARKUP, '"><script>alert(1)</script>', "{{ 7*7 }}", "'; DROP TABLE plate; --", "%2e%2e", "a\u202eb", "=1+1")


def test_markup_in_names_is_text(site, browser_page):
    """No script of a name runs, and each is shown as it was written."""

    @each("name", NAMES)
    def shown(name: str) -> None:
        name = name.replace("/", "|")
        taken = name.replace("\u202e", "?")  # such a sign is refused now; a register may hold it from before
        add_plate(site.register, Plate(taken, pattern=MARKUP, notes=MARKUP))
        with site.register.writing() as connection:
            held = tables.plate.update().where(tables.plate.c.name == taken)
            connection.execute(held.values(name=name, name_key=name_key(name)))
        browser_page.goto(f"{site.address}/plate?{httpx.QueryParams(name=name)}")
        assert browser_page.inner_text("h1") == name.replace("\u202e", "\ufffd")
        assert browser_page.locator("main img, main script").count() == 0

    said: list[str] = []
    browser_page.on("dialog", lambda box: (said.append(box.message), box.dismiss()))
    shown()
    browser_page.goto(f"{site.address}/?said={MARKUP}")
    assert not said and browser_page.inner_text(".said") == MARKUP


def test_a_file_name_from_outside_is_text(site):
    """Whatever a recording or photo is called, the file lies under a number or its hash."""
    client, odd = site.client(), "..%2f..%2f%3Cb%3E%00evil.png"
    told = {"x-token": site.door.token}
    assert client.put(f"/plate/photo?plate=B12&name={odd}", content=PNG, headers=told).json() == {
        "kept": "<b> evil.png"
    }
    (photo,) = find_plate(site.register, "B12").photos
    page = client.get("/plate?name=B12").text
    assert "&lt;b&gt;" in page and "<b>" not in page
    shown = client.get(f"/plate/photo?plate=B12&sha={photo.sha256}")
    assert shown.headers["content-type"] == "image/png" and "sandbox" in shown.headers["content-security-policy"]


def test_slow_clients_and_two_hundred_connections_hold_nobody_up(site):
    """Half a request each, never ended; meanwhile the page is asked for, and answers."""
    half = [socket.create_connection(("127.0.0.1", site.port), timeout=10) for _ in range(200)]
    for one in half[:100]:
        one.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1")
    for one in half[100:140]:
        head = f"POST /plate/new HTTP/1.1\r\n{host(site)}\r\nOrigin: {site.address}\r\nContent-Length: 1000\r\n"
        form_type = "Content-Type: application/x-www-form-urlencoded\r\n"
        one.sendall(f"{head}{form_type}Cookie: tapscan={site.door.cookie}\r\n\r\nname=".encode())
    try:
        answered = [site.client().get("/").status_code for _ in range(5)]
    finally:
        for one in half:
            one.close()
    assert answered == [200] * 5
    assert site.client().get("/").status_code == 200
    assert [p.name for p, _, _ in list_plates(site.register)] == ["B12"]


def test_two_windows_do_not_overwrite_each_other(site):
    client = site.client()
    address = site.post(client, "/draft/new", plate="B12").headers["location"]
    number, seen = address.split("id=")[1], client.get(address).text.split('name="seen" value="')[1].split('"')[0]
    first = site.post(client, "/draft", id=number, seen=seen, act="look", notes="mine")
    second = site.post(client, "/draft", id=number, seen=seen, act="look", notes="yours")
    assert (first.status_code, second.status_code) == (303, 400)
    assert 'value="mine"' in client.get(address).text


def test_the_same_button_in_two_windows_begins_one_work(site):
    """Also where both are pressed at the same moment."""
    works, runs = site.app.state.works, []
    barrier = threading.Barrier(8)

    def press() -> None:
        barrier.wait()
        works.begin("x", lambda _: (runs.append(1), time.sleep(0.3), "/")[2], "the same", "/")

    threads = [threading.Thread(target=press) for _ in range(8)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    time.sleep(0.6)
    assert len(runs) == 1


def test_a_form_opened_before_another_window_changed_it_undoes_nothing(site):
    with site.client() as one, site.client() as two:
        seen = [re.search(r'name="seen" value="(\w+)"', c.get("/plate/edit?name=B12").text)[1] for c in (one, two)]
        first, late = (
            site.post(c, "/plate/edit", was="B12", name="B12", notes=f"window {i}", seen=mark)
            for i, (c, mark) in enumerate(zip((one, two), seen, strict=True), 1)
        )
    assert (first.status_code, late.status_code) == (303, 400)
    same_as_before("page-form-refused", main_of(late.text))
    assert find_plate(site.register, "B12").notes == "window 1"
