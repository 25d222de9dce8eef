"""The server, the line to it, this program or a worker stopped in the middle: nothing that was accepted is lost, nothing is there twice.

Six moments each; bench/server_kills.py has thirty.
"""

import time

import numpy as np
import pytest
from msgspec import to_builtins

from tapscan.errors import BadRequest, NotReached
from tapscan.register.database import open_register
from tapscan.register.outbox import FOLDER, TROUBLE, Outbox, new_key, send_waiting
from tapscan.register.scans import list_scans
from tapscan.register.unfinished import end, find_unfinished
from tapscan.settings import Settings
from tapscan.signal.plate.station_analysis import Wanted
from tapscan.workers import ALONE
from tapscan.workflow import where
from tapscan.workflow.ahead import PlacesAhead
from tapscan.workflow.record import Recorder, begin_recording
from tapscan.workflow.taken import finish, give_up, settled
from tests.register.recording_child import LAYOUT
from tests.register.test_recording import RATE, facts, play, whats
from tests.server import kills
from tests.server.postgres import Line
from tests.server.test_server import put

MOMENTS = np.linspace(0.0, 1.0, 6)
LATER_S = np.random.default_rng(1).uniform(0.0, 0.015, 6)  # after the last thing that was said


def until(true, at_most_s: float = 20.0) -> None:
    end = time.monotonic() + at_most_s
    while not true():
        assert time.monotonic() < end
        time.sleep(0.01)


@pytest.fixture
def line(postgres):
    made = Line(postgres.port)
    yield made
    made.close()


@pytest.fixture
def far(register, line, postgres):
    """The same register, by a line that can be cut."""
    database = register.place.url.rpartition("/")[2]
    opened = open_register(where.place_of(postgres.url(database, port=line.port)))
    yield opened
    opened.engine.dispose()


def test_the_guide_goes_on_without_the_server_and_the_strikes_are_sent_once(far, line, tmp_path):
    (tmp_path / "three.toml").write_text(LAYOUT)
    unfinished = begin_recording(far, "B12", facts(), str(tmp_path / "three.toml"), ("soft", "hard"))
    recorder = Recorder(far, unfinished, RATE, Settings())
    assert whats(play(recorder, [0.6, 1.2], 2.0)) == ["accepted", "accepted", "moved"]
    settled(far, recorder.id)
    line.cut()
    assert whats(play(recorder, [0.6, 1.2], 2.0, seed=2)) == ["accepted", "accepted", "moved"]
    until(lambda: recorder._strikes.trouble is not None)
    events = play(recorder, [0.6, 1.2], 2.0, seed=3)
    assert whats(events) == ["accepted", "accepted", "complete"]
    assert all(TROUBLE in e.words for e in events if e.what == "accepted")
    with pytest.raises(NotReached, match="4 taps, kept on this computer") as told:
        finish(far, recorder.id, Settings())
    assert "\n" not in str(told.value)
    recorder.key("undo")
    line.mend()
    kept = finish(far, recorder.id, Settings())
    assert kept.entry is not None
    assert [f.name for f in kept.entry.files] == [
        f"S{1 + i // 2}_{i + 1:03d}_{('soft', 'hard')[i % 2]}.flac" for i in range(5)
    ]
    assert len(find_unfinished(far, recorder.id).strikes) == 6
    assert not [p for p in (far.folder / FOLDER).rglob("*") if p.is_file()]
    with pytest.raises(BadRequest, match="stored already"):
        finish(far, recorder.id, Settings())


def test_the_guide_goes_on_without_the_share(register, tmp_path):
    """A place that is complete would be listened to ahead, and its first tap lies on the share already."""
    (tmp_path / "three.toml").write_text(LAYOUT)
    unfinished = begin_recording(register, "B12", facts(), str(tmp_path / "three.toml"), ("soft", "hard"))
    ahead = PlacesAhead(Wanted(Settings()), ALONE)
    recorder = Recorder(register, unfinished, RATE, Settings(), ahead)
    assert whats(play(recorder, [0.6], 1.2)) == ["accepted"]
    settled(register, recorder.id)
    (tmp_path / "share").rename(tmp_path / "unplugged")
    assert whats(play(recorder, [0.6, 1.2], 2.0, seed=2)) == ["accepted", "moved", "accepted"]
    (tmp_path / "unplugged").rename(tmp_path / "share")
    recorder.key("undo")
    recorder.key("undo")
    give_up(register, recorder.id)
    left = find_unfinished(register, recorder.id)
    assert ([s.undone for s in left.strikes], left.ended_how) == ([False, True, True], "given up")
    assert send_waiting(register) is None


def test_a_strike_for_a_recording_that_ended_elsewhere_is_kept_and_told(register):
    number = kills.begun(register)
    strikes = kills.Waiting(register)
    end(register, number, "given up")
    strikes.take(number, kills.TakenStrike("S1", "soft", kills.KeptFile("", 0, ""), -20.0, 40.0), b"tap", "S1")
    told = send_waiting(register)
    assert told is not None and "ended meanwhile (given up)" in told
    assert len(list((register.folder / FOLDER).glob("*.json"))) == 1


def test_a_strike_that_is_not_taken_holds_up_no_other_recording(register):
    ended, goes_on = kills.begun(register), kills.begun(register)
    strikes = kills.Waiting(register)
    end(register, ended, "given up")
    kills.record(register, ended, lambda _: None)
    key = strikes.take(
        goes_on, kills.TakenStrike("S1", "soft", kills.KeptFile("", 0, ""), -20.0, 40.0), b"tap", "S1"
    ).key
    until(lambda: strikes.outbox.left(goes_on) == 0 and strikes.trouble is None)
    strikes.settle(goes_on)
    assert [s.key for s in find_unfinished(register, goes_on).strikes] == [key]
    with pytest.raises(BadRequest, match="ended meanwhile"):
        strikes.settle(ended)
    assert len(list((register.folder / FOLDER).glob("*.json"))) == kills.STRIKES + 1


def test_a_strike_for_another_register_at_the_same_address_is_kept(register):
    number = kills.begun(register)
    outbox = Outbox(register)  # with no thread that sends, which would take itself for the other register's
    outbox.identity = "another"
    strike = kills.TakenStrike("S1", "soft", outbox.sounds.keep_bytes(b"tap", "S1"), -20.0, 40.0, key=new_key())
    outbox.add("take", number, {"key": strike.key, "strike": to_builtins(strike)})
    told = send_waiting(register)
    assert told is not None and "another register" in told
    kills.Waiting(register).settle(number)
    assert find_unfinished(register, number).strikes == ()
    assert len(list((register.folder / FOLDER).glob("*.json"))) == 1


def test_what_another_sends_while_its_sound_is_read_is_no_trouble(register, monkeypatch):
    number = kills.begun(register)
    outbox = Outbox(register)
    strike = kills.TakenStrike("S1", "soft", outbox.sounds.keep_bytes(b"tap", "S1"), -20.0, 40.0, key=new_key())
    outbox.add("take", number, {"key": strike.key, "strike": to_builtins(strike)})
    keep_file = type(register.files).keep_file

    def late(files, source, name):
        monkeypatch.undo()
        Outbox(register).send(number)
        return keep_file(files, source, name)

    monkeypatch.setattr(type(register.files), "keep_file", late)
    outbox.send(number)
    assert outbox.waiting() == [] and [s.key for s in find_unfinished(register, number).strikes] == [strike.key]


def test_the_line_is_cut_at_any_moment(far, line):
    counts = [kills.line_cut(line, far, at * kills.LASTS_S) for at in MOMENTS]
    assert counts == [kills.STRIKES] * len(MOMENTS)


def test_the_server_is_killed_at_any_moment(register, postgres):
    counts = [kills.server_killed(postgres, register, at * kills.LASTS_S) for at in MOMENTS]
    assert counts == [kills.STRIKES] * len(MOMENTS)


def test_the_program_is_killed_at_any_moment(register):
    counts = [kills.client_killed(register.place, register, i, at) for i, at in enumerate(LATER_S)]
    assert counts[0] < counts[-1]


def test_a_worker_is_killed_at_any_moment(register):
    counts = [kills.worker_killed(register.place, register, i, at) for i, at in enumerate(LATER_S)]
    assert counts[0] < counts[-1]


def test_an_import_whose_answer_was_lost_is_done_again_and_stored_once(far, line):
    """The commit is cut off: the person does it again."""

    def cut_at_the_end(connection):
        line.cut()

    from sqlalchemy import event

    event.listen(far.engine, "commit", cut_at_the_end)
    with pytest.raises(NotReached):
        put(far)
    event.remove(far.engine, "commit", cut_at_the_end)
    line.mend()
    try:
        put(far)
    except BadRequest as problem:
        assert "already stored" in str(problem)
    assert len(list_scans(far)) == 1
