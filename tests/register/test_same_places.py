"""Silence closes a finding only where somebody listened at its places, or to its keys."""

import datetime as dt

import pytest
from msgspec.structs import replace

from tapscan.records.heard import Heard
from tapscan.register.entries import PART, Outcome
from tapscan.register.files import keep_bytes
from tapscan.register.heard import heard_in
from tapscan.register.on_record import plate_on_record
from tapscan.register.results import load_screening
from tapscan.register.scans import add_outcome, store_scan
from tapscan.register.visit_entries import Visit
from tapscan.register.visits import keep_visit
from tapscan.screening.open_findings import still_open
from tapscan.screening.past_scan import PastScan
from tapscan.screening.rules import note_buzz
from tapscan.settings import Settings
from tapscan.workflow.conclude import conclude
from tapscan.workflow.still_open import open_findings
from tests.register import built
from tests.register.test_played_scans import heard
from tests.report.sheets import indication

each = pytest.mark.parametrize
NAMED = Outcome(PART + "lamp", "taken apart", "A. Person", dt.date(2026, 1, 2))
AT = {"S1": "grand: strut", "S2": "grand: tail"}


@each(
    ("at", "closed"),
    [
        (AT, True),
        ({**AT, "S9": "grand: tail"}, True),
        ({"S2": "grand: tail"}, False),
        ({**AT, "S1": "upright: strut"}, False),
        ({}, False),
    ],
)
@each("stations", [("S1",), ("S1", "S2")])
def test_taps_close_what_they_could_have_heard(stations, at, closed):
    said = (indication(stations=stations),)
    found = PastScan("B1/2026-03-01", "2026-03-01", "relevant indication", said, part_named=True, heard=Heard(AT))
    quiet = PastScan("B1/2026-04-01", "2026-04-01", "no relevant indication", (), heard=Heard(at))
    assert (still_open([found, quiet, quiet]) == ()) is closed
    assert still_open([found, quiet, replace(quiet, heard=Heard())]), "both must have listened"


def test_a_finding_that_names_no_place_is_closed_from_any():
    found = PastScan("B1/2026-03-01", "2026-03-01", "relevant indication", (indication(stations=()),), part_named=True)
    quiet = PastScan("B1/2026-04-01", "2026-04-01", "no relevant indication", (), heard=Heard(AT))
    assert still_open([found, quiet, quiet]) == ()


def taken(register, day: str, keys: tuple[str, ...], rule: str = ""):
    """A stored scan of these keys, and what it says."""
    one = heard(rule, day.encode(), keys=len(keys))
    notes = tuple(replace(n, key=key) for n, key in zip(one.scan.played.notes, keys, strict=True))
    said = conclude(replace(one, scan=replace(one.scan, played=replace(one.scan.played, notes=notes))), Settings())
    new = built.new_scan(date=dt.date.fromisoformat(day), reading={"played": True}, checklist=())
    file = keep_bytes(register.folder, day.encode(), "n.wav")
    return store_scan(register, "B12", new, built.made(said), [file]), said


@each(("keys", "closed"), [(("C4", "D4"), True), (("C4", "D4", "E4"), True), (("C6", "D6"), False), (("C4",), False)])
def test_other_keys_close_no_buzz(register, keys, closed):
    found, _ = taken(register, "2026-01-01", ("C4", "D4"), note_buzz.NAME)
    add_outcome(register, found.name, NAMED)
    taken(register, "2026-02-01", keys)
    _, said = taken(register, "2026-03-01", keys)
    assert (open_findings(register, "B12") == ()) is closed
    assert (open_findings(register, "B12", (dt.date(2026, 3, 1), 1), said) == ()) is closed, "as it is at hand"


@each(("layout", "closed"), [("grand-short", True), ("own", False)])
def test_a_scan_with_another_layout_closes_no_finding_at_a_place(register, layout, closed):
    found = tapped(register, "2026-01-01", "grand-short", silent=False)
    add_outcome(register, found.name, NAMED)
    for day in ("2026-02-01", "2026-03-01"):
        tapped(register, day, layout, silent=True)
    assert (open_findings(register, "B12") == ()) is closed


@each(
    ("state", "visited", "closed"),
    [("stripped", None, True), (None, None, False), (None, "stripped", True), (None, "strung", False)],
)
def test_a_scan_of_which_nobody_says_where_the_plate_was_closes_nothing(register, state, visited, closed):
    found = tapped(register, "2026-01-01", "grand-short", silent=False)
    add_outcome(register, found.name, NAMED)
    for day in ("2026-02-01", "2026-03-01"):
        tapped(register, day, "grand-short", silent=True, state=state)
        if visited:
            keep_visit(register, Visit("B12", dt.date.fromisoformat(day), state=visited))
    assert (open_findings(register, "B12") == ()) is closed


def tapped(register, day: str, layout: str, *, silent: bool, state="stripped", **scan):
    file = keep_bytes(register.folder, day.encode(), "S1_1.wav")
    one = built.screening((file.sha256,))
    one = replace(one, scan=replace(one.scan, layout=layout, state=state, **scan), rules_not_run=())
    said = conclude(replace(one, indications=()), Settings()) if silent else one
    conditions = replace(built.CONDITIONS, state=state)
    new = built.new_scan(date=dt.date.fromisoformat(day), conditions=conditions, checklist=())
    return store_scan(register, "B12", new, built.made(said), [file])


def test_the_light_record_listened_where_the_scans_did(register):
    played, _ = taken(register, "2026-01-01", ("C4", "D4"))
    entry = tapped(register, "2026-02-01", "grand-short", silent=True)
    assert {s.heard for s in plate_on_record(register, "B12").scans} == {None}, "no part is named: nothing was asked"
    add_outcome(register, played.name, NAMED)
    whole = [heard_in(load_screening(register, e.current.id)) for e in (played, entry)]
    assert [s.heard for s in plate_on_record(register, "B12").scans] == whole
    where = [{"C4": "", "D4": ""}, {"S1": "grand-short: tail", "S2": 'grand-short: a "strut"'}]
    assert [one.where for one in whole] == where and whole[1].spots == {"S1": (0.5, 1 / 3)}
    assert [len(one.taps) for one in whole] == [2, 3] and whole[0].files != whole[1].files
