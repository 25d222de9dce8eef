"""While the page records, other processes listen to the places that are done; the reading uses it, and nothing depends on it."""

import os
import signal
import time
from pathlib import Path
from typing import Any

import pytest

from tapscan.page import recordings as module
from tapscan.page.recordings import Running
from tapscan.recording.microphone import Block
from tapscan.register.scans import list_scans
from tapscan.register.unfinished import find_unfinished
from tapscan.settings import Settings
from tapscan.workflow import at_the_plate, places, typed_recording
from tapscan.workflow.record import begin_recording
from tests.page.test_recordings import until
from tests.register.recording_child import LAYOUT
from tests.register.test_ahead import ONSETS, ORDER
from tests.register.test_recording import RATE, SHORT, facts
from tests.sounds import taps_at

PIECE = 800


class Input:
    """A sound input that hears six taps, then silence of the room."""

    age_s = (0.0, 0.0)

    def __init__(self, *_: Any) -> None:
        sound = taps_at(ONSETS, 4.5, RATE, modes=SHORT)
        self.pieces = iter([sound[i : i + PIECE] for i in range(0, len(sound), PIECE)])

    def __enter__(self) -> "Input":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def read(self, wait_s: float) -> Block | None:
        piece = next(self.pieces, None)
        if piece is None:
            time.sleep(wait_s)
        return None if piece is None else Block(piece, 0)


@pytest.fixture
def recorded(site: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Running:
    """Three places by the page's own recorder, with one process beside it."""
    monkeypatch.setattr(typed_recording, "open_briefly", lambda _: RATE)
    monkeypatch.setattr(at_the_plate, "Microphone", Input)
    (tmp_path / "three.toml").write_text(LAYOUT)
    number = begin_recording(site.register, "B12", facts(), str(tmp_path / "three.toml"), ORDER).id
    recordings = site.app.state.recordings
    recordings.jobs = 2
    running: Running = recordings.begin(
        number, "B12", lambda workers: typed_recording.session_of(site.register, number, {}, Settings(), workers)
    )
    assert until(lambda: running.over, 60) and not running.problem
    return running


def stored(site: Any, number: int) -> int:
    """Strikes of the scan that came of it."""
    with site.client(follow_redirects=True) as client:
        assert site.post(client, "/record/store", id=number).status_code == 200
    assert until(lambda: find_unfinished(site.register, number).ended_how, 120)
    return len(list_scans(site.register, "B12")[0].files)


def test_places_are_listened_to_while_the_next_is_tapped(site, recorded, monkeypatch):
    ahead = recorded.session.ahead
    assert ahead is not None and len(ahead.listened()) == len(ONSETS)
    with monkeypatch.context() as here:
        here.setattr(places, "cut", None)  # no strike is cut out again
        assert stored(site, recorded.number) == len(ONSETS)
    assert ahead.used == 3 and recorded.listened() is None
    assert until(lambda: not processes_of(ahead), 20)


def processes_of(ahead: Any) -> list[int]:
    return [other.process.pid for other in ahead.workers._processes]


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is a thing of POSIX")
def test_a_process_that_is_killed_costs_time_and_no_strike(site, recorded):
    ahead = recorded.session.ahead
    for pid in processes_of(ahead):
        os.kill(pid, signal.SIGKILL)
    assert stored(site, recorded.number) == len(ONSETS)


def test_processes_do_not_wait_for_ever_for_a_reading(site, monkeypatch, request):
    monkeypatch.setattr(module, "KEPT_S", 0.3)
    running = request.getfixturevalue("recorded")
    ahead = running.session.ahead
    assert until(lambda: not processes_of(ahead), 20)
    assert stored(site, running.number) == len(ONSETS)
