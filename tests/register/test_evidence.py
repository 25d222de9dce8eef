"""Outcomes of a register against its findings."""

import datetime as dt
import json

from tapscan.plain_values import SCHEMA
from tapscan.register.corrections import void_scan
from tapscan.register.entries import CLEAN, Outcome, Plate
from tapscan.register.plates import add_plate
from tapscan.register.scans import add_outcome
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
