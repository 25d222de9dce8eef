"""A scan recorded at the plate, without a device: strikes kept one by one, two knocks, resume, finish; and stopped anywhere.

Taps are simulated (tapscan.demo); the expected counts are those of the taps that were played.
"""

import datetime as dt
import os
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
import soundfile
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.records import Doubt, Fingerprint, ScanConditions
from tapscan.register.database import Register, make_register, open_register
from tapscan.register.entries import NewScan, Plate
from tapscan.register.files import path_of, sha256_of
from tapscan.register.plates import add_plate
from tapscan.register.scans import find_scan
from tapscan.register.unfinished import find_unfinished, unfinished_scans
from tapscan.register.upkeep import check_register
from tapscan.register.visit_entries import Look, Visit
from tapscan.register.visits import keep_visit
from tapscan.settings import Settings
from tapscan.workflow.import_scan import Kept, rescreen, stored_screening
from tapscan.workflow.record import Event, Recorder, begin_recording
from tapscan.workflow.taken import finish
from tests.every import each
from tests.register.asked import asked_in_lines
from tests.register.recording_child import LAYOUT
from tests.sounds import taps_at

RATE = 16000
SHORT = ((412.0, 0.2, 0.10), (655.0, 0.2, 0.1), (1130.0, 0.15, 0.11), (2480.0, 0.1, 0.12))


@pytest.fixture
def layout(tmp_path: Path) -> str:
    (tmp_path / "three.toml").write_text(LAYOUT)
    return str(tmp_path / "three.toml")


def facts() -> NewScan:
    return NewScan(dt.date(2026, 3, 14), ScanConditions(state="stripped"))


def begun(register: Register, layout: str, order=("soft", "hard")) -> Recorder:
    unfinished = begin_recording(register, "B12", facts(), layout, order)
    return Recorder(register, unfinished, RATE, Settings())


def play(recorder: Recorder, onsets: list[float], seconds: float, gain: float = 1.0, seed: int = 1) -> list[Event]:
    x = gain * taps_at(onsets, seconds, RATE, modes=SHORT, seed=seed)
    return [e for i in range(0, len(x), 320) for e in recorder.hear(x[i : i + 320])]


def whats(events: list[Event]) -> list[str]:
    return [e.what for e in events]


@pytest.fixture
def plate(register: Register) -> Register:
    return register  # the fixture's register holds B12


def test_each_strike_is_safe_before_the_next_is_asked_for(plate, layout):
    recorder = begun(plate, layout)
    events = play(recorder, [0.6 + 0.6 * i for i in range(6)], 4.5)
    assert whats(events) == ["accepted", "accepted", "moved"] * 2 + ["accepted", "accepted", "complete"]
    kept = find_unfinished(plate, recorder.id).kept
    assert [(s.station, s.force) for s in kept] == [(s, f) for s in ("S1", "S2", "S3") for f in ("soft", "hard")]
    for strike in kept:
        assert sha256_of(path_of(plate.folder, strike.file.sha256)) == strike.file.sha256
    assert check_register(plate).wrong == ()


def test_two_knocks_take_the_last_strike_back_and_leave_no_other(plate, layout):
    recorder = begun(plate, layout)
    play(recorder, [0.6, 1.2, 1.8], 2.6)
    assert recorder.guide.station == "S2"
    events = play(recorder, [0.6, 0.9], 1.8, seed=2)
    assert whats(events)[-1] == "undone"
    kept = find_unfinished(plate, recorder.id).kept
    assert [(s.station, s.force) for s in kept] == [("S1", "soft"), ("S1", "hard")]
    assert (recorder.guide.station, recorder.guide.force) == ("S2", "soft")
    assert len(find_unfinished(plate, recorder.id).strikes) in (3, 4), "what was undone is not deleted"


def test_a_roll_of_knocks_undoes_nothing(plate, layout):
    recorder = begun(plate, layout)
    play(recorder, [0.6, 1.2], 2.0)
    events = play(recorder, [0.6, 0.9, 1.2, 1.5], 2.6, seed=2)
    assert "undone" not in whats(events)
    assert [e.reason for e in events if e.what == "refused"] == ["crowded"]
    assert [s.station for s in find_unfinished(plate, recorder.id).kept][:2] == ["S1", "S1"]


def test_knocks_of_unlike_strength_undo_nothing(plate, layout):
    recorder = begun(plate, layout)
    play(recorder, [0.6, 1.2], 2.0)
    x = taps_at([0.6], 1.8, RATE, modes=SHORT, seed=2)
    x[round(0.3 * RATE) :] += 0.02 * taps_at([0.6], 1.5, RATE, modes=SHORT, seed=3)
    events = [e for i in range(0, len(x), 320) for e in recorder.hear(x[i : i + 320])]
    assert "undone" not in whats(events)


def test_keys(plate, layout):
    recorder = begun(plate, layout)
    assert whats(recorder.key("undo")) == ["undone"]
    recorder.key("skip")
    assert recorder.guide.station == "S2"
    play(recorder, [0.6], 1.4)
    recorder.key("repeat")
    assert find_unfinished(plate, recorder.id).kept == ()
    recorder.paused = True
    assert play(recorder, [0.6], 1.4, seed=3) == []
    recorder.paused = False
    recorder.key("back")
    assert recorder.guide.station == "S1"


def test_resume_goes_on_where_it_was(plate, layout):
    first = begun(plate, layout)
    play(first, [0.6, 1.2, 1.8], 2.6)
    (unfinished,) = unfinished_scans(plate, "B12")
    second = Recorder(plate, unfinished, RATE, Settings())
    assert (second.guide.station, second.guide.force) == ("S2", "hard")
    play(second, [0.6, 1.2, 1.8], 2.6, seed=4)
    assert second.guide.station is None
    assert [s.position for s in find_unfinished(plate, second.id).kept] == list(range(1, 7))


def test_finish_stores_a_scan_like_an_import(plate, layout):
    recorder = begun(plate, layout)
    play(recorder, [0.6 + 0.6 * i for i in range(6)], 4.5)
    kept = finish(plate, recorder.id, Settings())
    assert kept.entry is not None and kept.screening is not None
    entry = find_scan(plate, kept.entry.name)
    assert [f.name for f in entry.files][:2] == ["S1_001_soft.flac", "S1_002_hard.flac"]
    strikes = kept.screening.scan.strikes
    assert [(s.station, s.force) for s in strikes] == [(s, f) for s in ("S1", "S2", "S3") for f in ("soft", "hard")]
    assert all(s.usable for s in strikes)
    assert unfinished_scans(plate) == []
    again = rescreen(plate, entry.name, Settings())
    assert again.screening is not None
    assert [s.force for s in again.screening.scan.strikes] == ["soft", "hard"] * 3
    turned = rescreen(plate, entry.name, Settings(), changes={"order": ("hard", "soft")}).screening
    assert turned is not None, "an order that is typed counts for more than what the recorder asked for"
    assert [s.force for s in turned.scan.strikes] == ["hard", "soft"] * 3
    assert _taps(rescreen(plate, entry.name, Settings(), changes={"skip": (2, 3)})) == "T1 T4 T5 T6"
    back = rescreen(plate, entry.name, Settings(), changes={"skip": (5,), "assign": (("T2", "S2"),)})
    assert _taps(back) == "T1 T2 T4 T6", "the last word counts of each tap"
    assert back.screening and [s.station for s in back.screening.scan.strikes] == ["S1", "S2", "S2", "S3"]
    swapped = rescreen(plate, entry.name, Settings(), changes={"skip": (2,), "assign": (("S2", "S1"),)})
    assert _taps(swapped) == "T1 T4 T6", "what is left out goes with no place"
    assert back.entry and swapped.entry and len(swapped.entry.screenings) == len(back.entry.screenings) + 1
    assert len(stored_screening(plate, swapped.entry, 1).scan.strikes) == 6
    with pytest.raises(BadRequest, match="stored already"):
        finish(plate, recorder.id, Settings())


def _taps(kept: Kept) -> str:
    assert kept.screening is not None
    return " ".join(s.id for s in kept.screening.scan.strikes)


@pytest.mark.parametrize("answer", [None, True])
def test_a_recorded_scan_of_another_plate_is_asked_about(plate, layout, monkeypatch, answer):
    """The question itself: tests/unit/test_identity.py counts when it is asked; here a doubt is put in its place."""
    doubt = Doubt("which plate", "B12/2026-01-01", "This sounds like another plate.", Fingerprint(0.1, 0.1, 0.8, 0.0))
    monkeypatch.setattr("tapscan.workflow.import_scan.doubts_of", lambda *_: (doubt,))
    asked = []
    recorder = begun(plate, layout)
    play(recorder, [0.6 + 0.6 * i for i in range(6)], 4.5)
    kept = finish(plate, recorder.id, Settings(), sure=lambda doubts: asked.extend(doubts) or answer)
    assert asked == [doubt] and kept.screening is not None
    assert kept.screening.made_sure is bool(answer)
    assert kept.screening.headline.startswith("Doubtful") is (answer is None)


def test_a_round_stopped_early_is_a_part_of_the_plate(plate, layout):
    recorder = begun(plate, layout)
    play(recorder, [0.6, 1.2, 1.8, 2.4], 3.2)
    kept = finish(plate, recorder.id, Settings())
    assert kept.screening is not None and kept.screening.scan.part_of == 3


def test_nothing_taken_is_nothing_stored(plate, layout):
    recorder = begun(plate, layout)
    with pytest.raises(BadRequest, match="no tap was taken"):
        finish(plate, recorder.id, Settings())


@pytest.fixture(scope="module")
def recordings() -> Iterator[subprocess.Popen[str]]:
    with asked_in_lines("tests.register.recording_child") as child:
        yield child


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
@pytest.mark.parametrize("moment", range(20))
def test_killed_at_a_random_moment_every_strike_that_was_shown_is_there(plate, layout, tmp_path, recordings, moment):
    rng = np.random.default_rng(moment)
    sound = tmp_path / "taps.wav"
    soundfile.write(sound, taps_at([0.6 + 0.6 * i for i in range(6)], 4.5, RATE, modes=SHORT), RATE, subtype="FLOAT")
    recordings.stdin.write(f"{plate.folder}|{layout}|{sound}\n")
    recordings.stdin.flush()
    begun, pid = recordings.stdout.readline().split()
    assert begun == "begun"
    time.sleep(float(rng.uniform(0.0, 0.5)))
    with suppress(ProcessLookupError):  # it may have come to its end
        os.kill(int(pid), signal.SIGKILL)
    said = list(iter(recordings.stdout.readline, "ended\n"))
    shown = [line.split()[1] for line in said if line.startswith("accepted")]
    register = open_register(plate.folder)
    (unfinished,) = unfinished_scans(register)
    assert len(unfinished.kept) - len(shown) in (0, 1), "one may be stored and not yet shown"
    assert [s.file.sha256 for s in unfinished.kept][: len(shown)] == shown
    for strike in unfinished.kept:
        samples, rate = soundfile.read(path_of(register.folder, strike.file.sha256))
        assert rate == RATE and len(samples) > 0.3 * RATE
    assert check_register(register).wrong == ()


@each("state", ["strung", "as-found", None])
def test_a_plate_under_tension_in_which_the_eye_saw_what_may_be_a_crack_is_not_tapped(tmp_path, state):
    register = make_register(tmp_path / f"register-{state}")
    add_plate(register, Plate("B12"))
    (tmp_path / "three.toml").write_text(LAYOUT)
    new = NewScan(dt.date(2026, 3, 14), ScanConditions(state=state))
    keep_visit(register, Visit("B12", new.date, looks=(Look("corners", "note", ("rust-line",)),)))
    with pytest.raises(BadRequest, match="do not tap this plate"):
        begin_recording(register, "b12", new, str(tmp_path / "three.toml"), ("soft",))
    assert unfinished_scans(register) == []
    bare = replace(new, conditions=ScanConditions(state="stripped"))
    assert begin_recording(register, "B12", bare, str(tmp_path / "three.toml"), ("soft",)).kept == ()
    keep_visit(register, Visit("B12", new.date, looks=(Look("corners", "nothing"),)), mistake="a reflex")
    assert begin_recording(register, "B12", new, str(tmp_path / "three.toml"), ("soft",)).kept == ()
