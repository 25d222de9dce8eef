"""A scan that is of another day than was written down."""

import datetime as dt

import pytest
from msgspec.structs import replace

from tapscan.errors import BadRequest
from tapscan.register.corrections import move_scan
from tapscan.register.entries import PART, Outcome, Plate
from tapscan.register.numbers import next_number_on
from tapscan.register.on_record import plate_on_record
from tapscan.register.outdated import outdated
from tapscan.register.plates import add_plate
from tapscan.register.results import load_screening
from tapscan.register.scans import add_outcome, add_screening, find_scan, list_scans, set_baseline
from tapscan.workflow.notices import UNREAD, UNREAD_THAT_DAY, notices
from tapscan.workflow.still_open import open_findings
from tests.register import built
from tests.register.test_lists_agree import agree, scanned

TODAY = dt.date(2026, 6, 1)
WHY = "the phone's clock was wrong"
HOOK = Outcome(PART + "hook", "taken apart", "A. Person", dt.date(2026, 4, 2))


def moved(register, entry, day: str, plate="B12"):
    return move_scan(register, entry.name, plate, WHY, TODAY, dt.date.fromisoformat(day))


def test_it_gets_the_next_number_of_that_day_and_says_where_it_was(register):
    first, other = scanned(register, "2026-03-14"), scanned(register, "2026-04-01")
    set_baseline(register, "B12", [other.name])
    entry = moved(register, find_scan(register, other.name), "2026-03-14")
    assert (entry.name, entry.number, entry.baseline) == ("B12/2026-03-14-2", 2, True)
    assert [e.name for e in list_scans(register, "B12")] == [first.name, entry.name]
    assert entry.moves[-1].before == other.name and not entry.moves[-1].of_another_plate
    assert entry.unread and outdated(register) == {entry.id}
    told = notices(register, entry, load_screening(register, entry.current.id))
    assert UNREAD_THAT_DAY in told and UNREAD not in told and any(WHY in t for t in told)
    assert entry.files == other.files and load_screening(register, entry.current.id).scan.recordings
    agree(register)


def test_a_number_that_was_another_scans_is_not_given_again(register):
    add_plate(register, Plate("C7"))
    first = scanned(register, "2026-03-14")
    gone = moved(register, first, "2026-03-01", "C7")
    assert (
        scanned(register, "2026-03-14").name == "B12/2026-03-14-2"
        and scanned(register, "2026-03-14", plate="C7").number == 1
    )
    assert next_number_on(register, "B12", first.date) == 3
    assert moved(register, gone, "2026-03-14").name == first.name, "but it may come back to its own"


def test_what_it_was_before_counts_until_it_is_read_anew(register):
    add_plate(register, Plate("C7"))
    entry = moved(register, moved(register, scanned(register, "2026-04-01"), "2026-03-01", "C7"), "2026-03-02", "C7")
    assert entry.unread_from_elsewhere and not entry.moves[-1].of_another_plate
    assert UNREAD in notices(register, entry, load_screening(register, entry.current.id))
    again = add_screening(register, entry.name, built.made(load_screening(register, entry.current.id)))
    assert not moved(register, again, "2026-03-03", "C7").unread_from_elsewhere


def test_to_another_plate_and_day_at_once(register):
    add_plate(register, Plate("C7"))
    entry = moved(register, scanned(register, "2026-04-01"), "2026-03-01", "C7")
    assert (entry.name, entry.baseline, entry.moves[-1].of_another_plate) == ("C7/2026-03-01", False, True)


@pytest.mark.parametrize(
    ("day", "said"),
    [("2026-04-01", "already"), ("2099-01-01", "still to come"), ("2026-04-03", "examination of 2026-04-02")],
)
def test_what_cannot_be_is_refused_and_nothing_is_changed(register, day, said):
    entry = scanned(register, "2026-04-01")
    add_outcome(register, entry.name, HOOK)
    kept = find_scan(register, entry.name)
    with pytest.raises(BadRequest, match=said):
        moved(register, kept, day)
    assert find_scan(register, entry.name) == kept


def test_a_part_that_was_named_of_this_plate_stays_named_of_it(register):
    """A scan of another day is no scan of another plate."""
    scanned(register, "2026-03-14", found=True)
    entry = scanned(register, "2026-03-20")
    add_outcome(register, entry.name, replace(HOOK, on=dt.date(2026, 3, 20)))
    scanned(register, "2026-03-22")
    assert open_findings(register, "B12") == ()
    moved(register, entry, "2026-03-15")
    assert open_findings(register, "B12") == ()
    assert plate_on_record(register, "B12").scans[1].moved_on is None


def test_what_was_found_on_a_later_day_after_all_is_not_closed_by_what_is_earlier_now(register):
    found = scanned(register, "2026-03-14", found=True)
    add_outcome(register, found.name, replace(HOOK, on=dt.date(2026, 5, 2)))
    for day in ("2026-04-01", "2026-04-02"):
        scanned(register, day)
    assert open_findings(register, "B12") == ()
    moved(register, found, "2026-05-01")
    assert open_findings(register, "B12")
    agree(register)
