"""A scan of played notes in the page: nothing is offered that only taps can have."""

import datetime as dt
import io
import time

import pytest
import soundfile

from tapscan.errors import BadRequest
from tapscan.register.unfinished import find_unfinished
from tapscan.register.visit_entries import Look, Visit
from tapscan.register.visits import keep_visit
from tapscan.screening.rules import ringing_on
from tapscan.settings import Settings
from tapscan.workflow import mic, typed_recording
from tapscan.workflow.at_the_plate import View
from tapscan.workflow.bar import FIRST
from tapscan.workflow.draft import PLATE, begin_draft, change, find_draft, incoming
from tapscan.workflow.keep_draft import bar_of, keep_draft
from tapscan.workflow.record_notes import NoteRecorder, begin_notes
from tests.cli.commands import run
from tests.every import each
from tests.register.conftest import put
from tests.register.recorded_notes import RATE, facts, fed, played
from tests.register.test_played_scans import play

C4, D4 = 39, 41


def test_nothing_is_offered_that_only_taps_can_have(site):
    entry = play(site.register, "2026-09-01", ringing_on.NAME)
    with site.client() as client:
        told = {
            at: client.get(at, params={"name": entry.name, "plate": "B12"})
            for at in ("/scan", "/scan/mend", "/history")
        }
    assert {r.status_code for r in told.values()} == {200}
    scan, mend = told["/scan"].text, told["/scan/mend"].text
    assert '<section id="notes">' in scan and "/compare" not in scan and "0 taps" not in scan
    assert 'name="act"' not in mend and 'name="layout"' not in mend and "Read it anew" in mend
    assert "0 tones" not in told["/history"].text


def test_beside_a_baseline_notes_are_nothing_to_compare(site):
    put(site.register, baseline=True)
    entry = play(site.register, "2026-09-01", ringing_on.NAME)
    with site.client() as client:
        shown = [client.get(at, params={"name": n}).text for at, n in (("/scan", entry.name), ("/plate", "B12"))]
    assert not any('href="/compare' in text for text in shown)


def stopped_after_c4(site, keys):
    unfinished = begin_notes(site.register, "B12", facts(), keys)
    fed(NoteRecorder(site.register, unfinished, RATE, Settings()), played((C4,), None))
    return unfinished.id


@each("keys", [("C4", "D4"), ()])
def test_keys_begun_in_the_terminal_go_on_in_the_page(site, monkeypatch, keys):
    monkeypatch.setattr(typed_recording, "open_briefly", lambda input_: input_[1])
    number = stopped_after_c4(site, keys)
    with site.client(follow_redirects=True) as client:
        plate, form = (client.get(at, params={"name": "B12", "plate": "B12"}).text for at in ("/plate", "/record/new"))
        assert all(f"/record?id={number}" in text and "1 note" in text for text in (plate, form))
        rest = client.get("/record", params={"id": number}).text
        assert ("Go on at D4" in rest and "Still to play: D4" in rest) is bool(keys) and 'id="go-on"' in rest
        assert "tap-map" not in rest and 'name="held"' not in rest and 'id="store"' in rest
        session = typed_recording.session_of(site.register, number, {}, Settings())
        fed(session.recorder, played((D4,), None))
        assert session.over is bool(keys)
        running = site.app.state.recordings.begin(number, "B12", lambda _: Still(session.view()))
        live = client.get("/record", params={"id": number}).text
        assert "played</span>" in live and "Hold each key" in live and "Key anew" in live and 'id="map"' not in live
        assert client.get("/record/map", params={"id": number}).text == ""
        running.wish("stop")
        assert running.wait()
        rest = client.get("/record", params={"id": number}).text
        assert ("All keys are played" in rest) is bool(keys) and ('id="go-on"' in rest) is not bool(keys)
        assert 'id="store"' in rest and "2 notes safe" in rest
        assert "Taken back: D4" in site.post(client, "/record/take-back", id=number).text
    assert [s.station for s in find_unfinished(site.register, number).kept] == ["C4"]


def test_what_the_eye_saw_since_stops_it(site, monkeypatch):
    """By the page and by the terminal."""
    monkeypatch.setattr(typed_recording, "open_briefly", lambda input_: input_[1])
    number, today = stopped_after_c4(site, ("C4", "D4")), dt.date.today()
    keep_visit(site.register, Visit("B12", today, looks=(Look("corners", "note", ("rust-line",)),)))
    with site.client() as client:
        answer = site.post(client, "/record/go-on", id=number)
    assert answer.status_code == 409 and "may be a crack" in answer.text
    told = run("scan", "record", "B12", "--played", "--resume", "--register", str(site.register.folder))
    assert told.status == 1 and "may be a crack" in told.err


def test_what_is_complete_is_read_without_an_input(site, monkeypatch):
    """Stopped while it was read: no microphone is wanted any more."""
    number = stopped_after_c4(site, ("C4",))
    others = run(
        "scan", "record", "B12", "--played", "--resume", "--keys", "D4", "--register", str(site.register.folder)
    )
    assert others.status == 1 and "is of C4" in others.err
    monkeypatch.setattr(mic, "Microphone", None)
    told = run("scan", "record", "B12", "--played", "--resume", "--register", str(site.register.folder))
    assert told.status == 0 and "Stored as B12/2026-03-14" in told.out, told.err
    assert find_unfinished(site.register, number).ended_how == "B12/2026-03-14"


def test_recordings_of_the_bar_do_not_go_along_with_keys(site, tmp_path):
    draft = begin_draft(site.register, "B12")
    sound = io.BytesIO()
    soundfile.write(sound, played((C4,), None), RATE, format="WAV", subtype="PCM_16")
    for part in (PLATE, FIRST):
        with incoming(draft, f"{part}.wav", part) as file:
            file.write(sound.getvalue())
    draft = find_draft(site.register, draft.id)
    typed = {"state": "strung", "sensor": "contact", "date": "2026-03-14"}
    draft = change(draft, draft.version, {"typed": {**typed, "what": "played"}})
    with pytest.raises(BadRequest, match=f"{FIRST}.wav: of the reference bar"):
        keep_draft(site.register, draft)
    assert len(find_draft(site.register, draft.id).files) == 2, "nothing is thrown away"
    taps = change(draft, draft.version, {"typed": {**typed, "what": "taps"}})
    assert bar_of(site.register, taps) is not None


class Still:
    """A session that hears nothing."""

    ahead = None

    def __init__(self, shown: View) -> None:
        self.shown = shown

    def view(self) -> View:
        return self.shown

    def run(self, asked, show) -> None:
        while "stop" not in list(asked()):
            show(self.shown)
            time.sleep(0.01)
