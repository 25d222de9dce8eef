"""The inspector's and the shop's day in real clicks, and what happens when the program is killed or two work at once. The rebuilder's is test_first_day.py."""

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from tapscan.register.entries import CHECKLIST, Plate
from tapscan.register.plates import add_plate, find_plate
from tapscan.register.scans import find_scan, list_scans
from tests.page.conftest import NO_TLS
from tests.png import grey_png
from tests.register.conftest import put

REAL = Path(__file__).parents[2] / "reference_recordings" / "real"


@pytest.mark.slow
def test_the_inspectors_day(site, browser_page, tmp_path):
    """A strung plate, two places, what the eye saw with a photo, one page for the buyer."""
    page, photo = browser_page, tmp_path / "rust.png"
    photo.write_bytes(grey_png())
    page.click("text=Add a plate")
    page.fill("#f-name", "Upright in Mill Street")
    page.click("text=Add this plate")
    page.click("text=New scan from files")
    page.fill("#f-date", "2026-03-14")
    page.select_option("#f-state", "strung")
    page.select_option("#f-sensor", "microphone")
    page.fill("#f-operator", "C. Adeyemi")
    page.set_input_files("#choose", [REAL / "drum-damped-1.flac", REAL / "drum-damped-3.flac"])
    page.wait_for_selector(".taps", timeout=120_000)
    assert page.locator(".taps tbody tr").count() == 2
    page.click("#store")
    page.wait_for_selector("text=What to do next", timeout=240_000)
    page.click("text=Enter what you saw")
    page.check("input[name=eye-rust-line][value=seen]")
    page.fill("#f-note-rust-line", "bass corner")
    page.click("text=Keep it")
    page.wait_for_selector("text=bass corner")
    page.click("text=Enter what you saw")
    page.set_input_files("[data-photos] input", photo)
    page.wait_for_selector(".photos img")
    width_px = "async e => (await e.decode(), e.naturalWidth)"
    assert page.locator(".photos img").evaluate(width_px) == 1
    page.go_back()
    page.fill("#f-whom", "the Okafor family")
    page.click("text=One page for a buyer")
    page.wait_for_selector("text=the Okafor family", timeout=120_000)
    assert f"{CHECKLIST['rust-line']} (bass corner)" in page.inner_text("body")
    (entry,) = list_scans(site.register, "Upright in Mill Street")
    assert entry.conditions.state == "strung" and entry.operator == "C. Adeyemi"


@pytest.mark.slow
def test_the_shops_day(site, browser_page):
    """What is to be done is seen at a glance; compared, examined, put right, given to another plate."""
    put(site.register, b"one", baseline=True)
    later = put(site.register, b"two").name
    add_plate(site.register, Plate("C7"))
    page = browser_page
    page.goto(site.address)
    kind = ".kinds >> text=something to look at"
    page.click(kind)
    assert page.locator("tbody tr").count() == 1
    page.click("tbody >> text=B12")
    page.click("text=Compare with the baseline")
    assert page.inner_text("h1") == "B12, before and now"
    page.goto(f"{site.address}/scan?name={later}")
    page.click("text=Enter the tester's result")
    page.check("input[name=kind][value=clean]")
    page.fill("#f-found", "all struts looked at")
    page.fill("#f-method", "penetrant")
    page.fill("#f-by", "D. Petrov")
    page.click("button:has-text('Note it')")
    page.wait_for_selector("text=all struts looked at")
    page.goto(site.address)
    assert page.locator(f"{kind} >> span").inner_text() == "0"
    page.goto(f"{site.address}/scan/mend?name={later}")
    page.fill("#f-why", "another plate was on the stand")
    page.click("text=Cross it out")
    page.wait_for_selector("h1:has-text('Crossed out')")
    assert find_scan(site.register, later).crossed_out
    page.click("text=Put something right")
    page.click("text=Let it count again")
    page.wait_for_selector("text=It counts again.")
    page.click("text=Put something right")
    page.fill("#f-plate", "C7")
    page.fill("#f-why-move", "this was C7")
    page.click("text=Give it to that plate")
    page.wait_for_selector("text=It is a scan of C7 now")
    assert [e.plate for e in list_scans(site.register)] == ["B12", "C7"]


@pytest.mark.slow
def test_the_shops_evening(site, browser_page, tmp_path):
    """A copy, a look at every file, what is done every time, and which plates are due."""
    put(site.register, b"one", baseline=True)
    page = browser_page
    page.goto(f"{site.address}/register")
    page.fill("#f-target", str(tmp_path / "copy"))
    page.click("text=Copy the whole register")
    page.wait_for_selector("text=Copied to")
    assert (tmp_path / "copy" / "register.sqlite").stat().st_size > 0
    page.click("text=Look at every file")
    page.wait_for_selector("text=Everything is there and unaltered")
    page.goto(f"{site.address}/settings")
    page.select_option("#f-sensor", "contact")
    page.fill("#f-again_months", "1")
    page.click("text=Keep it")
    page.wait_for_selector("text=Kept.")
    page.goto(site.address)
    due = page.locator(".kinds >> text=due again >> span")
    assert due.inner_text() == "1"
    page.goto(f"{site.address}/plate?name=B12")
    page.click("text=New scan from files")
    page.wait_for_selector("#drop")
    assert page.input_value("#f-sensor") == "contact"


def test_the_sentences_are_those_of_the_terminal(site, browser_page):
    from tapscan.workflow.import_scan import stored_screening
    from tapscan.workflow.report import steps
    from tapscan.workflow.standing import as_it_stands
    from tests.cli.commands import run

    name = put(site.register).name
    entry = find_scan(site.register, name)
    screening = as_it_stands(site.register, entry, stored_screening(site.register, entry))
    browser_page.goto(f"{site.address}/scan?name={name}")
    shown = " ".join(browser_page.inner_text("main").split())
    told = " ".join(run("scan", "show", name, "--register", site.register.folder).out.split())
    relevant = [i.sentence for i in screening.indications if i.interpretation == "relevant"]
    asked = [line for title, lines in steps(screening.next_steps) for line in (title, *lines)]
    sentences = [screening.headline, *asked, *(relevant or [screening.summary])]
    assert len(sentences) > 2
    for sentence in sentences:
        assert sentence in shown
        assert sentence.replace(" ", "") in told.replace(" ", "")  # the terminal breaks lines within words at times


@pytest.fixture
def killed(site: Any) -> Iterator[Any]:
    """Starts and kills `tapscan open` on the site's register."""
    running: list[subprocess.Popen] = []

    def start() -> tuple[subprocess.Popen, httpx.Client]:
        line = [sys.executable, "-u", "-m", "tapscan", "open", "--no-browser", "--port", "0"]
        told = subprocess.PIPE
        server = subprocess.Popen([*line, "--register", str(site.register.folder)], stdout=told, text=True)
        running.append(server)
        address = re.search(r"http://\S+", server.stdout.readline())[0]
        base = address.split("/?")[0]
        client = httpx.Client(
            base_url=base,
            headers={"origin": base},
            transport=httpx.HTTPTransport(verify=NO_TLS, retries=30),
            timeout=60,
        )
        assert client.get(address).status_code == 303
        return server, client

    yield start
    for server in running:
        server.kill()
        server.wait()


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is a thing of POSIX")
def test_a_killed_program_loses_nothing_that_was_taken_in(site, killed):
    """After SIGKILL the recordings and what was typed are there, and the old window's token still counts."""
    server, client = killed()
    token = re.search(r'name="token" content="(\w+)"', client.get("/").text)[1]
    address = client.post("/draft/new", data={"token": token, "plate": "B12"}).headers["location"]
    content = (REAL / "bell-small.flac").read_bytes()
    put_to = address.replace("/draft?", "/draft/file?") + "&name=bell.flac"
    version = client.put(put_to, content=content, headers={"x-token": token}).json()["version"]
    number = address.split("id=")[1]
    client.post("/draft", data={"token": token, "id": number, "seen": version, "act": "look", "notes": "by the window"})
    server.send_signal(signal.SIGKILL)
    server.wait()
    _, again = killed()
    page = again.get(address).text
    assert "bell.flac" in page and 'value="by the window"' in page
    assert again.post("/plate/new", data={"token": token, "name": "D1"}).status_code == 303
    assert find_plate(site.register, "D1").name == "D1"


def test_a_terminal_and_two_windows_at_once(site):
    """Plates added from three sides while the others look; none is lost and nobody is refused."""
    from concurrent.futures import ThreadPoolExecutor

    def window(which: int) -> list[int]:
        client = site.client()
        return [site.post(client, "/plate/new", name=f"W{which}-{i}").status_code for i in range(6)]

    def terminal() -> list[int]:
        for i in range(6):
            add_plate(site.register, Plate(f"T-{i}"))
        return []

    with ThreadPoolExecutor(3) as pool:
        done = [pool.submit(window, 1), pool.submit(window, 2), pool.submit(terminal)]
        statuses = [s for d in done for s in d.result()]
    assert statuses == [303] * 12
    page = site.client().get("/").text
    assert all(f">{name}-{i}<" in page for name in ("W1", "W2", "T") for i in range(6))
