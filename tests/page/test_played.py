"""A scan of played notes in the page: nothing is offered that only taps can have."""

from tapscan.screening.rules import ringing_on
from tapscan.settings import Settings
from tapscan.workflow.record_notes import NoteRecorder, begin_notes
from tests.register.conftest import put
from tests.register.recorded_notes import RATE, facts, fed, played
from tests.register.test_played_scans import play


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


def test_keys_that_are_being_recorded_are_shown_and_go_on_in_the_terminal(site):
    begun = begin_notes(site.register, "B12", facts(), ("C4", "D4"))
    fed(NoteRecorder(site.register, begun, RATE, Settings()), played((39,), None))
    with site.client() as client:
        page = client.get("/plate", params={"name": "B12"}).text
        assert "1 note safe" in page and "terminal" in page and f"/record?id={begun.id}" not in page
        assert client.get("/record", params={"id": begun.id}).status_code == 400
        assert "holds 1" not in client.get("/record/new", params={"plate": "B12"}).text
