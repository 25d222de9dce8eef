"""A scan of played notes in the page: nothing is offered that only taps can have."""

from tapscan.screening.rules import ringing_on
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
