"""A plate that is to be left as it is: nothing is recorded of it but where a qualified person has allowed it, and then that is kept."""

import datetime as dt

import pytest
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.places import IN_PIANO, STATES
from tapscan.records import ScanConditions
from tapscan.register.entries import NewScan, Outcome
from tapscan.register.scans import add_outcome
from tapscan.register.unfinished import find_unfinished, unfinished_scans
from tapscan.register.visit_entries import Look, Visit
from tapscan.register.visits import keep_visit
from tapscan.workflow.left_alone import may_go_on, still_stopped, stop_of
from tapscan.workflow.record import begin_recording
from tapscan.workflow.record_notes import begin_notes
from tests.cli.commands import run
from tests.every import each
from tests.register.test_mending import silent

WHO = "A. Person, testing laboratory"
NOW = NewScan(dt.date(2026, 9, 1), ScanConditions(state="strung"), notes="warm")


@pytest.fixture
def flawed(register):
    """B12 in its piano, months after an examination found a crack in it."""
    entry = silent(register, "2026-03-14", checklist=(), conditions=ScanConditions(state="strung"))
    add_outcome(register, entry.name, Outcome("crack", "penetrant", "A. Ulm", dt.date(2026, 4, 2)))
    return register


def begin(register, facts=NOW, allowed_by=None):
    return begin_recording(register, "B12", facts, "grand-short", ("soft",), allowed_by=allowed_by)


def in_state(state):
    return replace(NOW, conditions=ScanConditions(state=state))


@each("state", [None, *STATES])
def test_no_tap_and_no_key_in_the_piano_while_a_flaw_is_known(state, flawed):
    before = unfinished_scans(flawed)  # rows of this test share a register
    if state in (None, *IN_PIANO):
        assert stop_of(flawed, "B12", state) is not None
        for refused in (
            lambda: begin(flawed, in_state(state)),
            lambda: begin_notes(flawed, "B12", in_state(state), ()),
        ):
            with pytest.raises(BadRequest, match=r"B12 is to be left as it is.*--allowed-by"):
                refused()
        assert unfinished_scans(flawed) == before
        return
    begun = begin(flawed, in_state(state), WHO)
    assert begun.facts.notes == "warm" and "allowed" not in begun.plan, "kept only where it was needed"


def test_who_has_allowed_it_is_kept_and_not_asked_again_until_more_is_found(flawed):
    begun = begin(flawed, allowed_by=WHO)
    assert begun.facts.notes.startswith("warm ") and WHO in begun.facts.notes
    may_go_on(flawed, begun)
    assert still_stopped(flawed, begun) is None
    keep_visit(flawed, Visit("B12", dt.date(2026, 9, 2), looks=(Look("corners", "note", ("rust-line",)),)))
    assert still_stopped(flawed, begun) is not None
    with pytest.raises(BadRequest, match="--allowed-by"):
        may_go_on(flawed, begun)
    may_go_on(flawed, begun, "B. Other")
    now = find_unfinished(flawed, begun.id)
    assert WHO in now.facts.notes and "B. Other" in now.facts.notes and now.facts.date == NOW.date
    assert still_stopped(flawed, now) is None
    may_go_on(flawed, now)


def test_a_recording_begun_before_the_flaw_was_known_does_not_go_on(register):
    entry = silent(register, "2026-03-14", checklist=(), conditions=ScanConditions(state="strung"))
    begun = begin(register)
    add_outcome(register, entry.name, Outcome("crack", "penetrant", "A. Ulm", dt.date(2026, 9, 1)))
    with pytest.raises(BadRequest, match="left as it is"):
        may_go_on(register, begun)


def test_in_the_terminal_it_is_refused_in_one_line_before_an_input_is_opened(flawed, monkeypatch):
    monkeypatch.setenv("TAPSCAN_REGISTER", str(flawed.folder))
    refused = run("scan", "record", "B12", "--state", "strung")
    assert refused.status == 1 and refused.err.count("\n") == 1 and "--allowed-by" in refused.err
    for more in (("--allowed-by", WHO), ("--state", "stripped")):
        assert "--allowed-by" not in run("scan", "record", "B12", "--state", "strung", *more).err
    assert "--allowed-by" in run("scan", "record", "B12", "--played").err
