"""Figures are folded away: first stand the report's own rows, and what must wait is said wherever a finding is repeated. Clocks are the shop's."""

import csv
import datetime as dt
import re

from tapscan.records import ScanConditions
from tapscan.register.entries import NewScan
from tapscan.register.export import export_csv
from tapscan.register.scans import add_screening
from tapscan.screening.next_steps import suspected
from tapscan.workflow.draft import begin_draft
from tapscan.workflow.reading import reading_of
from tapscan.workflow.record import begin_recording
from tapscan.workflow.still_open import open_findings, plainly
from tests.cli.commands import run
from tests.page.test_shop import main_of
from tests.register import built
from tests.register.conftest import put
from tests.zones import EAST, in_zone

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


UTC, HERE, AHEAD = "2026-03-14T22:30:00Z", "2026-03-15 11:30", "+13:00"


def at_one_moment(register) -> tuple[str, int]:
    """A scan read twice, a recording and a scan from files begun, all of them then."""
    entry, draft = put(register), begin_draft(register, "B12")
    add_screening(register, entry.name, built.made(built.screening((entry.files[0].sha256,))), None)
    facts = NewScan(dt.date(2026, 3, 15), ScanConditions(state="stripped"))
    number = begin_recording(register, "B12", facts, "grand-short", ("soft",)).id
    (kept,) = draft.folder.glob("*.json")
    kept.write_text(kept.read_text().replace(draft.begun_utc, UTC))
    with register.writing() as connection:
        for column in ("unfinished SET begun_utc", "screening SET made_utc", "plate SET added_utc"):
            connection.exec_driver_sql(f"UPDATE {column} = '{UTC}'")
    return entry.name, number


def test_moments_are_told_by_the_clock_here_and_written_for_programs_in_utc(site, tmp_path):
    name, number = at_one_moment(site.register)
    with in_zone(EAST), site.client() as client:
        shown = [
            main_of(client.get(at).text) for at in ("/plate?name=B12", f"/record?id={number}", f"/scan?name={name}")
        ]
        assert [s.count(HERE) for s in shown] == [2, 1, 2]
        at = ("--register", site.register.folder)
        told = [run(*words, *at).out for words in (("scan", "list"), ("scan", "show", name), ("plate", "show", "B12"))]
        assert [s.count(HERE) for s in told] == [1, 1, 1] and [s.count(AHEAD) for s in told] == [0, 1, 1]
        assert not any("UTC" in s or "22:30" in s for s in (*shown, *told))
        export_csv(site.register, tmp_path / "out", lambda entry: "")
    (row,) = csv.DictReader((tmp_path / "out" / "plates.csv").open(encoding="utf-8-sig"))
    assert row["added_utc"] == UTC
