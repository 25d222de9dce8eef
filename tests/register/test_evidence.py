"""Outcomes of a register against its findings."""

import datetime as dt
import json

from tapscan.plain_values import SCHEMA
from tapscan.register.corrections import void_scan
from tapscan.register.entries import CLEAN, SEEN, Outcome, Plate
from tapscan.register.plates import add_plate
from tapscan.register.scans import add_outcome
from tapscan.register.visit_entries import Look, Visit
from tapscan.register.visits import add_look_outcome, keep_visit
from tapscan.workflow.evidence import evidence_json, evidence_of
from tests.cli.commands import run
from tests.snapshots import same_as_before

DAY = dt.date(2026, 9, 1)


def examined(register, entry, found):
    add_outcome(register, entry.name, Outcome(found, "magnetic particles", "A. Person", DAY))


def test_a_plate_counts_once_by_its_newest_examined_scan(register, stored):
    first, second = stored(b"one", date=dt.date(2026, 3, 14)), stored(b"two", date=dt.date(2026, 5, 1))
    stored(b"three", date=dt.date(2026, 6, 1))  # nobody examined it
    add_plate(register, Plate("B13"))
    other = stored(b"four", plate="B13")
    for entry, found in (
        (first, CLEAN + "magnetic particles all over"),
        (second, "crack at the second strut"),
        (other, CLEAN + "looked at"),
    ):
        examined(register, entry, found)
    found = evidence_of(register)
    assert {e.scan: e.flawed for e in found.examined} == {second.name: True, other.name: False}
    whole = found.rows[0]
    assert (whole.found.hits, whole.found.of, whole.false.hits, whole.false.of) == (1, 1, 1, 1)
    assert whole.found.share is None, "two plates give no rate"


def test_a_scan_that_is_crossed_out_does_not_count(register, stored):
    entry = stored()
    examined(register, entry, CLEAN + "looked at")
    void_scan(register, entry.name, "another plate", DAY)
    assert evidence_of(register).examined == ()


def test_the_command_counts_and_its_json_tells_the_plates(register, stored):
    at = ("--register", register.folder)
    none = run("register", "evidence", *at)
    assert none.status == 0 and "No scan" in none.out and evidence_of(register).examined == ()
    same_as_before("register-evidence", none.out)
    examined(register, stored(), "crack")
    shown = run("register", "evidence", *at)
    assert shown.status == 0 and "1 of 1" in shown.out and "%" not in shown.out
    document = json.loads(run("register", "evidence", "--json", "-", *at).out)
    assert document["schema"] == SCHEMA and document["rows"][0]["found"]["hits"] == 1
    assert document["rows"][0]["found"]["reason"] and document["examined"][0]["flawed"] is True
    assert json.loads(evidence_json(evidence_of(register))) == document


def line_on(register, plate, day, *found):
    visit = keep_visit(register, Visit(plate, day, state="strung", looks=(Look("rim", "note", ("iron-line",)),)))
    for words in found:
        add_look_outcome(register, visit, "rim", Outcome(words, "penetrant", "A. Person", day))


def test_a_flaw_found_at_a_visit_counts_with_the_taps_of_that_day_and_nothing_else_of_a_visit_does(register, stored):
    """A clean look at one place is no clean plate, and a flaw without taps of its day is held against none; each is named."""
    first, later = dt.date(2026, 3, 14), dt.date(2026, 5, 1)
    for name in ("B13", "B14", "B15", "B16"):
        add_plate(register, Plate(name))
    same_day, clean_before = stored(b"one", date=first), stored(b"two", plate="B16", date=first)
    stored(b"three", plate="B13", date=first), stored(b"four", plate="B14", date=first)
    line_on(register, "B12", first, SEEN + "a scratch", "crack, 20 mm")
    line_on(register, "B13", first, CLEAN + "the rim")
    line_on(register, "B14", later, "crack, 30 mm")
    line_on(register, "B15", first)
    examined(register, clean_before, CLEAN + "looked at")
    found = evidence_of(register)
    assert {e.scan: e.flawed for e in found.examined} == {same_day.name: True, clean_before.name: False}
    assert (found.not_of_the_plate, found.no_scan_that_day) == (("B13",), ("B14",))
    line_on(register, "B16", later, "crack, 40 mm")
    found = evidence_of(register)
    assert [e.scan for e in found.examined] == [same_day.name] and found.no_scan_that_day == ("B14", "B16")
    told = run("register", "evidence", "--register", register.folder).out
    assert all(name in told for name in ("B13", "B14", "B16")) and "B15" not in told
