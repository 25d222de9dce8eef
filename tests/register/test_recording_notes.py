"""Keys recorded live, without a device: kept one by one, asked for in words, refused with a reason, taken back, resumed, read like an import; and stopped anywhere.

Notes are simulated (bench/simulate/played.py); which keys they are is the truth.
"""

import os
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import suppress

import numpy as np
import pytest
import soundfile
from msgspec import to_builtins

from bench.simulate.played import Played, Wrong, piano, take
from bench.simulate.string_scales import SCALES
from tapscan.errors import BadRequest
from tapscan.register.database import Register, open_register
from tapscan.register.entries import KeptFile
from tapscan.register.files import path_of, sha256_of
from tapscan.register.outbox import Outbox
from tapscan.register.recording_entries import TakenStrike
from tapscan.register.scans import find_scan
from tapscan.register.unfinished import find_unfinished, unfinished_scans
from tapscan.register.upkeep import check_register
from tapscan.register.visit_entries import Look, Visit
from tapscan.register.visits import keep_visit
from tapscan.settings import Settings
from tapscan.signal.notes.strings import key_name, key_number
from tapscan.signal.notes.wanted_keys import played_notes
from tapscan.workflow.catch_notes import NoteCatcher
from tapscan.workflow.import_scan import rescreen
from tapscan.workflow.record_notes import NoteRecorder, begin_notes
from tapscan.workflow.taken import finish, missing_stations
from tests.every import each
from tests.register.asked import asked_in_lines
from tests.register.recorded_notes import BUZZING, KEYS, RATE, facts, fed, played

NAMES = tuple(key_name(k) for k in KEYS)
C4, D4 = 39, 41


def begun(register: Register, keys=NAMES, sensor="contact") -> NoteRecorder:
    unfinished = begin_notes(register, "B12", facts(sensor), keys)
    return NoteRecorder(register, unfinished, RATE, Settings())


def kept(register: Register, recorder: NoteRecorder) -> list[str]:
    return [s.station for s in find_unfinished(register, recorder.id).kept]


def whats(events) -> list[tuple[str, str | None]]:
    return [(e.what, e.reason) for e in events if e.what != "moved"]


@pytest.fixture
def whole(register):
    """All keys of a take, played and kept."""
    recorder = begun(register)
    return register, recorder, fed(recorder, played())


def test_each_note_is_safe_before_the_next_is_asked_for_and_the_next_is_told_in_words(whole):
    register, recorder, events = whole
    assert whats(events) == [("accepted", None)] * len(KEYS) + [("complete", None)]
    assert [e.words for e in events if e.what == "moved"] == [f"Next: {name}." for name in NAMES[1:]]
    assert f"number {KEYS[1] + 1} of 88" in events[0].words
    unfinished = find_unfinished(register, recorder.id)
    assert [s.station for s in unfinished.kept] == list(NAMES) and missing_stations(unfinished) == []
    for note in unfinished.kept:
        assert sha256_of(path_of(register.folder, note.file.sha256)) == note.file.sha256
    assert check_register(register).wrong == ()
    assert recorder.pitch is not None
    for _ in KEYS[3:]:
        recorder.key("undo")
    assert recorder.pitch is None and kept(register, recorder) == list(NAMES[:3]), "what is taken back tells no pitch"


def test_it_is_read_as_the_same_take_is_when_it_is_imported(whole):
    """The other road: the whole recording at once."""
    register, recorder, _ = whole
    stored = finish(register, recorder.id, Settings())
    assert stored.entry is not None and stored.screening is not None
    imported = played_notes([("F1", played(), RATE)], NAMES, Settings(), contact=True)
    live = stored.screening.scan.played
    assert live is not None and [n.key for n in live.notes] == [n.key for n in imported.notes] == list(NAMES)
    assert live.missing == live.doubled == live.besides == () and live.pitch_cents == imported.pitch_cents
    assert {i.rule for i in stored.screening.indications} == {"ringing-on", "note-buzz"}
    for a, b in zip(live.notes, imported.notes, strict=True):
        assert a.held_s == pytest.approx(b.held_s, abs=0.02)
        if key_number(a.key or "") in BUZZING:  # dB; the quiet beside it is another cut
            assert a.buzz_share_db == pytest.approx(b.buzz_share_db, abs=1.0)
    first, other = (min(p.foreign, key=lambda f: abs(f.frequency_hz - 175.4)) for p in (live, imported))
    assert list(first.notes) == sorted(first.notes, key=lambda n: int(n[1:]))
    assert abs(first.frequency_hz - other.frequency_hz) < 0.1 and first.loss_factor == pytest.approx(0.01, rel=0.1)
    assert find_scan(register, stored.entry.name).played and unfinished_scans(register) == []
    again = rescreen(register, stored.entry.name, Settings()).screening
    assert again is not None and again.scan.played == live, "one take, also when it is read anew"


def test_another_key_is_refused_by_name_and_kept_as_it_is_when_it_comes_again(register):
    recorder = begun(register, ("C4", "E4"))
    events = fed(recorder, played((D4,), None))
    assert whats(events) == [("refused", "another key")] and "D4" in events[0].words and "Play C4." in events[0].words
    assert kept(register, recorder) == []
    assert whats(fed(recorder, played((D4,), None))) == [("accepted", None)] and recorder.guide.station == "E4"
    stored = finish(register, recorder.id, Settings()).screening
    assert stored is not None and stored.scan.played is not None, "the reading goes by the sound"
    assert (stored.scan.played.besides, stored.scan.played.missing) == (("D4",), ("C4", "E4"))


def spoilt(how: str) -> np.ndarray:
    sound = played((C4,), None)
    if how == "clipped":
        return np.clip(12 * sound, -0.5, 0.5)
    if how == "two keys":
        return sound + np.roll(played((D4,), None), round(0.5 * RATE))
    if how == "no key":
        quiet = 1e-4 * np.random.default_rng(4).standard_normal(len(sound))
        quiet[2 * RATE : 2 * RATE + 900] += 0.2 * np.random.default_rng(5).standard_normal(900)
        return quiet
    return sound


@each("how", ["clipped", "two keys", "no key", "lost"])
def test_what_is_spoilt_is_refused_for_the_right_reason_and_not_kept(register, how):
    recorder, sound = begun(register, ("C4",)), spoilt(how)
    events = []
    for i in range(0, len(sound), 882):
        events += recorder.hear(sound[i : i + 882], int(how == "lost" and i == 882 * 70))
    events += fed(recorder, sound[:1])
    assert whats(events)[:1] == [("refused", how)] and kept(register, recorder) == []


def test_keys_of_the_computer(register):
    recorder = begun(register, ("C4", "D4", "E4"))
    assert recorder.key("undo")[0].what == "undone"
    fed(recorder, played((C4,), None))
    assert kept(register, recorder) == ["C4"] and recorder.guide.station == "D4"
    assert "C4" in recorder.key("undo")[0].words and kept(register, recorder) == []
    assert len(find_unfinished(register, recorder.id).strikes) == 1, "what was taken back is not deleted"
    recorder.key("skip")
    assert fed(recorder, played((D4,), None))[0].what == "accepted" and recorder.guide.station == "E4"
    recorder.key("back")
    recorder.key("repeat")
    assert kept(register, recorder) == [] and recorder.guide.station == "D4"
    recorder.paused = True
    assert fed(recorder, played((D4,), None)) == []


def twice(held_s: float, wrong: Wrong) -> np.ndarray:
    """C4 alone and again, by pickup."""
    rng = np.random.default_rng(3)
    notes = [Played(C4, at, held_s) for at in (1.2, 4.6)]
    return take(rng, piano(rng, SCALES["grand 155"], wrong), notes, RATE, "contact", -58.0)


@each(("held_s", "leaking", "reason"), [(0.12, None, "short"), (0.4, C4, "long")])
def test_a_note_without_a_damper_in_its_time_is_refused_and_kept_when_it_comes_so_again(
    register, held_s, leaking, reason
):
    """Also where no key was named: a damper that leaks must not be beyond recording."""
    for keys in (("C4", "E4"), ()):
        recorder = begun(register, keys)
        events = fed(recorder, twice(held_s, Wrong(leaking=leaking)))
        assert whats(events) == [("refused", reason), ("accepted", None)] and kept(register, recorder) == ["C4"]


def test_what_waits_for_a_server_is_called_what_it_is(register):
    outbox = Outbox(register)
    for n, (number, force) in enumerate(((1, None), (1, None), (2, "hard"))):
        strike = TakenStrike("C4", force, KeptFile("", 0, ""), -20.0, None, key=str(n))
        outbox.add("take", number, {"key": str(n), "strike": to_builtins(strike)})
    assert [outbox.left_words(number) for number in (1, 2)] == ["2 notes", "1 tap"]


def test_resume_goes_on_with_the_key_where_it_was(register):
    fed(begun(register, ("C4", "D4")), played((C4,), None))
    (unfinished,) = unfinished_scans(register, "B12")
    second = NoteRecorder(register, unfinished, RATE, Settings())
    assert second.guide.station == "D4" and missing_stations(unfinished) == ["D4"]
    fed(second, played((D4,), None))
    assert second.guide.station is None and kept(register, second) == ["C4", "D4"]


def test_without_names_any_key_is_kept_under_the_name_that_was_heard(register):
    recorder = begun(register, ())
    fed(recorder, played((D4,), None))
    fed(recorder, played((C4,), None))
    assert kept(register, recorder) == ["D4", "C4"] and recorder.guide.station == "any key"
    recorder.key("undo")
    assert kept(register, recorder) == ["D4"] and "D4" in recorder.guide.told


def test_clips_do_not_depend_on_the_blocks_and_nothing_is_taken_while_a_beep_sounds():
    sound = played((C4, D4), None)
    cut = {}
    for block in (313, 20_000):
        catcher = NoteCatcher(RATE, Settings())
        cut[block] = [c for i in range(0, len(sound), block) for c in catcher.feed(sound[i : i + block])]
    a, b = cut.values()
    assert [c.at_s for c in a] == [c.at_s for c in b] and len(a) == 2
    assert all(np.array_equal(x.samples, y.samples) for x, y in zip(a, b, strict=True))
    deaf = NoteCatcher(RATE, Settings())
    deaf.deaf_between(1.0, 1.5)
    (only,) = [c for i in range(0, len(sound), 882) for c in deaf.feed(sound[i : i + 882])]
    assert only.at_s == a[1].at_s


@pytest.fixture(scope="module")
def recordings() -> Iterator[subprocess.Popen[str]]:
    with asked_in_lines("tests.register.notes_child") as child:
        yield child


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
@pytest.mark.parametrize("moment", range(2))
def test_killed_at_a_random_moment_every_note_that_was_shown_is_there(register, tmp_path, recordings, moment):
    sound = tmp_path / "keys.wav"
    soundfile.write(sound, played(), RATE, subtype="FLOAT")
    recordings.stdin.write(f"{register.folder}|{sound}|{','.join(NAMES)}\n")
    recordings.stdin.flush()
    begun, pid = recordings.stdout.readline().split()
    assert begun == "begun"
    first = recordings.stdout.readline()
    time.sleep(float(np.random.default_rng(moment).uniform(0.0, 0.5)))
    with suppress(ProcessLookupError):  # it may have come to its end
        os.kill(int(pid), signal.SIGKILL)
    said = [first, *iter(recordings.stdout.readline, "ended\n")]
    shown = [line.split()[1] for line in said if line.startswith("accepted")]
    assert shown, "it was stopped after the first note"
    (unfinished,) = unfinished_scans(open_register(register.folder))
    assert len(unfinished.kept) - len(shown) in (0, 1), "one may be stored and not yet shown"
    assert [s.file.sha256 for s in unfinished.kept][: len(shown)] == shown
    assert check_register(register).wrong == ()


def test_what_must_not_be_begun(register):
    with pytest.raises(BadRequest, match="no baseline"):
        begin_notes(register, "B12", facts(baseline=True), NAMES)
    keep_visit(register, Visit("B12", facts().date, looks=(Look("corners", "note", ("rust-line",)),)))
    with pytest.raises(BadRequest, match="may be a crack"):
        begin_notes(register, "B12", facts(), NAMES)
    assert unfinished_scans(register) == []
