"""A scan recorded from the page through a virtual sound device, in real clicks: simulated taps in, a killed server and a closed tab between.

The server is a process of its own, since PortAudio keeps what it saw when it began. Taps are those of tapscan.demo (simulated, not measured).
"""

import re
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import resample_poly

from tapscan.demo.shop import ORDER, PAUSE_S, PLATES, SAMPLE_RATE_HZ, TAP_S, layout_text, sound_of
from tapscan.register.database import Register, make_register, open_register
from tapscan.register.entries import Plate
from tapscan.register.plates import add_plate
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.register.unfinished import unfinished_scans
from tapscan.workflow.own_layouts import keep_layout
from tests.sounds import taps_at

ROOT = Path(__file__).parents[2]
RATE = 48000
PLACES = 3
QUIET_S = 1.4
KNOCK = ((412.0, 0.2, 0.10), (655.0, 0.2, 0.1), (1130.0, 0.15, 0.11), (2480.0, 0.1, 0.12))  # a short ring, closed form
PLACE_S = len(ORDER) * TAP_S + PAUSE_S


@pytest.fixture(scope="module")
def places() -> list[np.ndarray]:
    """What is tapped at each of the first places, at the device's rate; some noise before, from which the quiet is learnt."""
    sound = resample_poly(sound_of(PLATES[0], 0)[: round(PLACES * PLACE_S * SAMPLE_RATE_HZ)], RATE // SAMPLE_RATE_HZ, 1)
    size = round(PLACE_S * RATE)
    taps = [np.asarray(sound[i * size : (i + 1) * size]) for i in range(PLACES)]
    end = round((PLACE_S - 0.1) * RATE)  # within the pause
    quiet = np.asarray(sound[end - round(QUIET_S * RATE) : end])
    return [np.concatenate([quiet, one]) for one in taps]


def second_tap(place: np.ndarray) -> np.ndarray:
    """The quiet, then the place's second tap alone."""
    return np.concatenate([place[: round(QUIET_S * RATE)], place[round((QUIET_S + TAP_S) * RATE) :]])


def first_tap(place: np.ndarray) -> np.ndarray:
    return place[: round((QUIET_S + TAP_S) * RATE)]


def first_places(text: str) -> str:
    """The layout with its first places only."""
    head, *stations = text.split("[[station]]")
    return "[[station]]".join([head, *stations[:PLACES]])


class Server:
    """`tapscan open` with the sink as its sound system."""

    def __init__(self, folder: Path, env: dict[str, str], jobs: int) -> None:
        command = [
            sys.executable,
            "-m",
            "tapscan",
            "open",
            "--no-browser",
            "--port",
            "0",
            "--jobs",
            str(jobs),
            "--register",
            str(folder),
        ]
        self.process = subprocess.Popen(
            command, env={**env, "TAPSCAN_REGISTER": ""}, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )  # fmt: skip
        assert self.process.stdout is not None
        found = re.search(r"http://\S+", self.process.stdout.readline())
        assert found
        self.address = found.group()
        self.root = self.address.split("/?")[0]

    def others(self) -> list[int]:
        """Processes that it has begun (Linux)."""
        found = []
        for path in Path("/proc").glob("[0-9]*/stat"):
            with suppress(OSError):  # it has ended meanwhile
                if int(path.read_text().rsplit(")", 1)[1].split()[1]) == self.process.pid:
                    found.append(int(path.parent.name))
        return found

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()

    def end(self) -> int:
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(30)


@pytest.fixture
def register(tmp_path: Path) -> Register:
    made = make_register(tmp_path / "register")
    add_plate(made, Plate("B12"))
    keep_layout(made.folder, "parlour", first_places(layout_text(PLATES[0])))
    return made


@pytest.fixture
def server(sink, register):
    started: list[Server] = []

    def start(jobs: int = 1) -> Server:
        started.append(Server(register.folder, sink.env, jobs))
        return started[-1]

    yield start
    for one in started:
        one.kill()


@pytest.fixture
def page(browser):
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    made = context.new_page()
    made.set_default_timeout(30_000)
    trouble: list[str] = []
    made.on("pageerror", lambda error: trouble.append(str(error)))
    made.on("console", lambda said: trouble.append(said.text) if "Content Security Policy" in said.text else None)
    yield made
    context.close()
    assert not trouble


def fill(page, server: Server) -> None:
    page.goto(server.address)
    page.click("text=B12")
    page.click("text=Record at the plate")
    page.select_option("#f-layout", "parlour")
    page.fill("#f-order", ",".join(ORDER))
    page.select_option("#f-state", "stripped")
    page.select_option("#f-sensor", "contact")
    page.select_option("#f-device", "pulse")
    page.uncheck("[name=beeps]")
    page.click("summary")
    page.fill("#f-rate", str(RATE))


def tap(sink, page, sound: np.ndarray, there: str) -> None:
    """Until `there` is on the screen; again where the machine was too busy: what is refused is asked for again."""
    from playwright.sync_api import TimeoutError as TooLate

    for _ in range(3):
        player = sink.play(sound)
        try:
            page.wait_for_selector(there, timeout=15_000)
        except TooLate:
            continue
        finally:
            player.kill()
        return
    raise AssertionError(f"{there} did not come; on the screen: {page.inner_text('main')}")


def gone(others: list[int]) -> None:
    """They end with the server, however it ended."""
    limit = time.monotonic() + 20
    while time.monotonic() < limit and any(Path(f"/proc/{pid}").exists() for pid in others):
        time.sleep(0.05)
    assert not [pid for pid in others if Path(f"/proc/{pid}").exists()]


def hashes(register: Register) -> set[str]:
    return {s.file.sha256 for u in unfinished_scans(open_register(register.folder)) for s in u.kept}


def begin(sink, page, server: Server) -> None:
    """The room first, then the first place."""
    fill(page, server)
    noise = sink.play(1e-4 * np.random.default_rng(1).standard_normal(12 * RATE), "noise.wav")
    page.click("#listen")
    page.wait_for_selector("#heard:has-text('Quiet enough for a scan')")
    noise.kill()
    page.click("#begin")
    page.wait_for_selector("#waiting:has-text('listening to the room')")
    assert page.inner_text("#station") == "S1" and page.inner_text("#force") == ORDER[0]


def go_on(page, server: Server, place: str) -> None:
    """From the plate's page, by keyboard."""
    page.goto(server.address)
    page.click("text=B12")
    page.click("text=Go on with it")
    page.wait_for_selector(f"#go-on:has-text('{place}')")
    page.select_option("#f-device", "pulse")
    page.uncheck("[name=beeps]")
    page.focus("#go-on")
    page.keyboard.press("Enter")
    page.wait_for_selector("#waiting:has-text('listening to the room')")


@pytest.mark.slow
def test_a_whole_scan_with_a_killed_server_and_a_closed_tab(sink, register, server, page, places):
    """Killed with one of a place's two taps accepted: it is there, and the other one is asked for."""
    first = server(jobs=2)
    begin(sink, page, first)
    tap(sink, page, places[0], f"#force:has-text('{ORDER[1]}')")
    others = first.others()
    first.kill()
    taken = hashes(register)
    assert len(taken) == 1
    assert others, "one listens to places that are done"
    gone(others)
    page.wait_for_selector("#said:has-text('What was accepted is safe')")

    second = server(jobs=2)
    go_on(page, second, "S1")
    assert page.inner_text("#force") == ORDER[1] and hashes(register) == taken
    tap(sink, page, second_tap(places[0]), "#done:text-is('1')")
    live = page.url
    page.goto("about:blank")  # the tab is closed: the recording goes on
    sink.play(places[1]).wait()
    page.goto(live)
    if page.inner_text("#done") != "2":
        tap(sink, page, places[1], "#done:text-is('2')")
    tap(sink, page, places[2], "#store")
    kept = hashes(register)
    assert taken < kept and len(kept) == PLACES * len(ORDER)
    page.click("#store")
    page.wait_for_selector("text=What to do next", timeout=240_000)
    (entry,) = list_scans(open_register(register.folder), "B12")
    strikes = load_screening(register, entry.current.id).scan.strikes
    heard = list(
        dict.fromkeys((s.station, s.force) for s in strikes)
    )  # a player that stumbles may add a click to a ring
    assert heard == [(f"S{i}", force) for i in range(1, PLACES + 1) for force in ORDER]
    assert {f.sha256 for f in entry.files} == kept
    assert not unfinished_scans(register, "B12")


@pytest.mark.slow
def test_every_wish_by_key_and_a_device_that_goes(sink, register, server, page, places):
    one = server()
    fill(page, one)
    page.click("#begin")
    page.wait_for_selector("#waiting:has-text('listening to the room')")
    tap(sink, page, places[0], "#done:text-is('1')")
    page.keyboard.press("s")
    page.wait_for_selector("#station:has-text('S3')")
    page.wait_for_selector("#map desc:has-text('Now: S3.')", state="attached")
    page.keyboard.press("b")
    page.wait_for_selector("#station:has-text('S2')")
    page.keyboard.press("u")
    page.wait_for_selector("#force:has-text('hard')")
    assert page.inner_text("#station") == "S1" and page.inner_text("#done") == "0"
    page.keyboard.press("p")
    page.wait_for_selector("#waiting:has-text('PAUSED')")
    sink.play(places[0]).wait()
    assert page.inner_text("#done") == "0", "nothing is heard while it is paused"
    page.keyboard.press("p")
    page.wait_for_selector("#waiting:has-text('READY')")
    page.keyboard.press("r")
    page.wait_for_selector("#force:has-text('soft')")
    sink.stop()
    page.wait_for_selector("#said:has-text('nothing is lost')")
    sink.start()
    page.wait_for_selector("#waiting:has-text('READY')")
    tap(sink, page, places[0], "#done:text-is('1')")
    page.keyboard.press("q")
    page.wait_for_selector("#go-on:has-text('S2')")
    (unfinished,) = unfinished_scans(register, "B12")
    assert [(s.station, s.force) for s in unfinished.kept] == [("S1", f) for f in ORDER]
    assert one.end() == 0, "it ends when asked to"


@pytest.mark.slow
def test_knocks_take_back_and_one_plate_is_recorded_at_a_time(sink, register, server, page, places):
    """Two knocks 0.4 s apart, after the first tap: it is taken back and nothing is taken for it."""
    add_plate(register, Plate("B13"))
    one = server()
    fill(page, one)
    page.click("#begin")
    tap(sink, page, first_tap(places[0]), "#force:has-text('hard')")
    tap(sink, page, taps_at([1.0, 1.4], 4.0, RATE, modes=KNOCK), "#said:has-text('Taken back')")
    assert page.inner_text("#force") == "soft" and not hashes(register)
    other = page.context.new_page()
    other.goto(f"{one.root}/record/new?plate=B13")
    other.wait_for_selector("text=B12 is being recorded at this moment")
    other.click("#begin")
    other.wait_for_selector("[role=alert].said:has-text('B12')")
    assert not unfinished_scans(register, "B13")
    assert page.inner_text("#waiting") != ""
