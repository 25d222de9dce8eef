"""The input while the page uses it, without a device: one recording at a time, wishes in turn, an end when nobody looks, no change without its token."""

import datetime as dt
import threading
import time

import numpy as np
import pytest

from bench.simulate.bar import Chain, recording, set_up
from tapscan.errors import BadRequest, MicrophoneTrouble
from tapscan.layouts import read_layout
from tapscan.page import recordings as module
from tapscan.page.recordings import Recordings, told
from tapscan.records import ScanConditions
from tapscan.register.entries import NewScan
from tapscan.register.results import load_screening
from tapscan.register.scans import list_scans
from tapscan.register.unfinished import find_unfinished
from tapscan.settings import Settings
from tapscan.workers import Workers
from tapscan.workflow import typed_recording
from tapscan.workflow.at_the_plate import View, level_words
from tapscan.workflow.bar import BAR_TURNS, USUAL_NAME, WHERE
from tapscan.workflow.record import Recorder, begin_recording
from tapscan.workflow.typed_recording import at_rest
from tests.every import each
from tests.page.test_hands import NARROW, WIDE, faults
from tests.register.recording_child import LAYOUT as THREE
from tests.register.test_bar import PLATE, RATE, STEEL
from tests.sounds import taps_at

LAYOUT = read_layout("grand-short")


class Quiet:
    """A session that hears nothing and notes what is wished."""

    ahead = None

    def __init__(self, problem: Exception | None = None) -> None:
        self.wishes: list[str] = []
        self.problem = problem

    def view(self) -> View:
        return View("S1", "", "soft", "", 0, 8, "", "plain", -60.0, None, "READY: tap", None, LAYOUT, frozenset())

    def run(self, asked, show) -> None:
        if self.problem:
            raise self.problem
        while "stop" not in self.wishes:
            self.wishes += asked()
            show(self.view())
            time.sleep(0.01)


@pytest.fixture
def recordings():
    made = Recordings()
    yield made
    made.close()


def until(what, seconds: float = 5.0) -> bool:
    limit = time.monotonic() + seconds
    while not what() and time.monotonic() < limit:
        time.sleep(0.03)
    return bool(what())


def test_one_at_a_time_and_the_same_one_from_two_windows(recordings):
    made: list[Quiet] = []

    def make(_: Workers) -> Quiet:
        made.append(Quiet())
        return made[-1]

    got: list = []
    windows = [threading.Thread(target=lambda: got.append(recordings.begin(1, "B12", make))) for _ in range(8)]
    for window in windows:
        window.start()
    for window in windows:
        window.join()
    assert len(made) == 1 and len({id(one) for one in got}) == 1
    with pytest.raises(BadRequest, match="B12"):
        recordings.begin(2, "B13", make)
    with pytest.raises(BadRequest, match="B12"):
        recordings.quiet((None, None, 0), None)
    got[0].wish("undo")
    got[0].wish("stop")
    assert got[0].wait() and made[0].wishes == ["undo", "stop"]
    assert recordings.begin(2, "B13", make).plate == "B13"


def test_it_ends_by_itself_when_nobody_looks_and_says_why(recordings, monkeypatch):
    monkeypatch.setattr(module, "ALONE_S", 0.2)
    running = recordings.begin(1, "B12", lambda _: Quiet())
    for _ in range(20):
        running.looked_at()
        time.sleep(0.03)
    assert not running.over
    assert until(lambda: running.over) and running.problem == module.ALONE
    assert recordings.now is None and recordings.of(1) is running


@each("problem", [MicrophoneTrouble("it is in use elsewhere"), ZeroDivisionError("own")], ids=["trouble", "own"])
def test_a_recording_that_fails_is_told_and_frees_the_input(problem):
    recordings = Recordings()
    running = recordings.begin(1, "B12", lambda _: Quiet(problem))
    assert until(lambda: running.over) and str(problem) in running.problem
    assert recordings.begin(2, "B13", lambda _: Quiet()).number == 2
    recordings.close()


def begun(site) -> int:
    facts = NewScan(dt.date(2026, 3, 14), ScanConditions(state="stripped"))
    return begin_recording(site.register, "B12", facts, "grand-short", ("soft",)).id


CHANGES = (
    "/record/new",
    "/record/look",
    "/record/level",
    "/record/wish",
    "/record/go-on",
    "/record/take-back",
    "/record/store",
    "/record/give-up",
    "/layout/draw",
)


@each("address", CHANGES)
def test_no_change_without_its_token(site, address):
    with site.client() as client:
        assert client.post(address, data={"id": "1", "plate": "B12", "wish": "stop"}).status_code == 403
        headers = {"origin": "http://elsewhere.example"}
        assert client.post(address, data={"token": site.door.token}, headers=headers).status_code == 403


@each("number", ["", "7", "-1", "1 or 1", "../1", "9" * 40, "½"])
def test_a_scan_that_is_not_recorded_is_told(site, number):
    with site.client() as client:
        for address in ("/record", "/record/events", "/record/map"):
            assert client.get(address, params={"id": number}).status_code in (400, 404)
        assert site.post(client, "/record/wish", id=number, wish="undo").status_code in (400, 404)


def test_at_rest_it_says_where_to_go_on_and_can_be_given_up(site):
    number = begun(site)
    with site.client(follow_redirects=True) as client:
        shown = client.get("/record", params={"id": number})
        assert shown.status_code == 200 and "Go on at S1" in shown.text
        assert site.post(client, "/record/wish", id=number, wish="dance").status_code == 400
        assert site.post(client, "/record/store", id=number).status_code in (200, 409), (
            "it is being read, or has failed already"
        )
        assert site.post(client, "/record/take-back", id=number).status_code == 400
        assert site.post(client, "/record/give-up", id=number).status_code == 200
        assert site.post(client, "/record/give-up", id=number).status_code == 400
    assert find_unfinished(site.register, number).ended_how == "given up"


def heard_by(recorder, *sounds) -> None:
    for sound in sounds:
        for i in range(0, len(sound), 320):
            recorder.hear(sound[i : i + 320])


def test_a_scan_begun_with_the_reference_bar_in_the_terminal_goes_on_in_the_page(site, tmp_path, monkeypatch):
    (tmp_path / "three.toml").write_text(THREE)
    facts = NewScan(dt.date(2026, 3, 14), ScanConditions(state="stripped"))
    unfinished = begin_recording(
        site.register, "B12", facts, str(tmp_path / "three.toml"), ("soft", "hard"), USUAL_NAME
    )
    rng = np.random.default_rng(1)
    bar = recording(set_up(STEEL, Chain(rate_hz=RATE), rng), 2, rng, 1.0)
    plate = taps_at([0.6 + 0.9 * i for i in range(6)], 6.5, RATE, modes=PLATE)
    heard_by(Recorder(site.register, unfinished, RATE, Settings()), bar, plate[: RATE * 3])
    with site.client(follow_redirects=True) as client:
        shown = client.get("/record", params={"id": unfinished.id})
        assert shown.status_code == 200 and "Go on at S2" in shown.text and BAR_TURNS[1] in shown.text
        monkeypatch.setattr(typed_recording, "open_briefly", lambda input_: input_[1])
        session = typed_recording.session_of(site.register, unfinished.id, {}, Settings())
        assert session.recorder.guide.stations == (BAR_TURNS[0], "S1", "S2", "S3", BAR_TURNS[1])
        heard_by(session.recorder, plate[RATE * 3 :])
        assert session.view().where == WHERE[BAR_TURNS[1]]
        heard_by(session.recorder, bar, rng.normal(0, 1e-4, RATE * 2))
        assert session.recorder.guide.station is None
        assert site.post(client, "/record/store", id=unfinished.id).status_code == 200
        assert until(lambda: list_scans(site.register, "B12"), 120)
    (entry,) = list_scans(site.register, "B12")
    assert [len(entry.bar.first), len(entry.bar.last), len(entry.files)] == [2, 2, 6]
    assert load_screening(site.register, entry.current.id).scan.bar.drift is not None


def test_without_an_input_nothing_is_begun(site):
    with site.client() as client:
        answer = site.post(
            client, "/record/new", plate="B12", device="there is none such", layout="grand-short", supports="foam"
        )
        assert answer.status_code == 409 and 'value="foam"' in answer.text
        assert site.post(client, "/record/level", plate="B12", channel="0").status_code == 409
        assert site.post(client, "/record/new", plate="B12", order="gentle").status_code == 409
    with pytest.raises(BadRequest):
        find_unfinished(site.register, 1)


LEVELS = {-200.0: "no sound", -1.0: "turn the input down", -8.0: "loud", -70.0: "quiet", -40.0: "the quiet lies at -72"}


@each("level", list(LEVELS))
def test_a_level_is_told_in_words(level):
    assert LEVELS[level] in level_words(level, -72.0)


def test_what_is_shown_is_what_the_recorder_says(site):
    view = at_rest(find_unfinished(site.register, begun(site)))
    shown = told(view)
    assert (shown["station"], shown["force"], shown["done"], shown["done_of"]) == ("S1", "soft", 0, "of 8 places done")
    assert shown["where"] == LAYOUT.stations[0].where and shown["level"] == 0


def test_the_live_screen_and_the_resting_one_by_keys_and_for_all_eyes(site, browser_page):
    """A session without a device: every key reaches it, axe-core finds no serious fault, nothing overflows at 390 pixels."""
    page, number, session = browser_page, begun(site), Quiet()
    running = site.app.state.recordings.begin(number, "B12", lambda _: session)
    page.goto(f"{site.address}/record?id={number}")
    page.wait_for_selector("#waiting.ready")
    told = []
    for size in (WIDE, NARROW):
        page.set_viewport_size(size)
        told += faults(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    assert page.evaluate("document.querySelector('[value=stop]').getBoundingClientRect().bottom") <= NARROW["height"]
    for key in "ursbp":
        page.keyboard.press(key)
    assert until(lambda: len(session.wishes) == 5)
    page.keyboard.press("q")
    page.wait_for_selector("#go-on")
    assert session.wishes == ["undo", "repeat", "skip", "back", "pause", "stop"] and running.over
    told += faults(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"]
    assert not told, "\n".join(told)
