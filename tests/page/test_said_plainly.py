"""Figures are folded away: first stand the report's own rows, and what must wait is said wherever a finding is repeated."""

import re

from tapscan.screening.next_steps import suspected
from tapscan.workflow.reading import reading_of
from tapscan.workflow.still_open import open_findings, plainly
from tests.register.conftest import put

FOLDED = re.compile(r"<details.*?</details>", re.DOTALL)


def test_the_page_of_a_scan_begins_with_the_reports_own_rows(site):
    name = put(site.register).name
    with site.client() as client:
        shown = client.get(f"/scan?name={name}").text
    reading = reading_of(site.register, name)
    first = FOLDED.sub("", shown.partition('id="indications"')[0])
    assert str(reading.short) in first and reading.screening.indications[0].sentence not in first
    assert 'href="#tested"' in first and 'id="tested"' in shown, "where it is told why checks were not made"


def test_what_is_still_open_is_said_in_plain_words_with_what_waits(site):
    entry = put(site.register)
    (told,) = plainly(site.register, "B12", open_findings(site.register, "B12"))
    assert told.waits == suspected(entry.conditions.state, [told.finding.rule])[0].text
    with site.client() as client:
        shown = client.get("/plate?name=B12").text
    assert told.figures in shown and told.figures not in FOLDED.sub("", shown)
    assert f"<strong>{told.waits}</strong>" in shown
