"""A scan whose state, or what listened, was put right after it was read: until it is read anew the more careful of both counts, in reports and lists."""

from itertools import product

import pytest
from msgspec.structs import replace

from tapscan.places import IN_PIANO, STATES
from tapscan.records import NO_ROOM
from tapscan.register.entries import PART
from tapscan.register.entries import Outcome as Examination
from tapscan.register.results import load_screening
from tapscan.register.scans import add_outcome, edit_scan, find_scan
from tapscan.screening.disposition import LOOK, NO_ANSWER_OPEN, UNDECIDED, Outcome
from tapscan.screening.next_steps import KEEP, KEEP_UNTOLD, READ_ANEW, of_lines
from tapscan.screening.plain_words import HEADLINES, in_plain_words
from tapscan.screening.short_steps import SHORT
from tapscan.screening.spared_checks import NOT_READ
from tapscan.sensors import Sensor
from tapscan.signal.plate.joint_fit import FEW
from tapscan.workflow.as_listed import scan_lines
from tapscan.workflow.at_a_glance import next_of
from tapscan.workflow.history import for_comparison
from tapscan.workflow.import_scan import stored_screening
from tapscan.workflow.known_since import NO_PICKUP, ONLY_PICKUPS, OTHER_STATE, apart_by_now, changed
from tapscan.workflow.notices import notices
from tapscan.workflow.standing import LISTENED, no_baseline
from tapscan.workflow.still_open import open_findings
from tests.register import built
from tests.register.test_lists_agree import EXAMINED, agree, page_says, put_right, scanned
from tests.register.test_mending import silent, with_comparison
from tests.unit.test_next_steps import safe

each = pytest.mark.parametrize


@each(("read_in", "now"), [*product((None, *STATES), repeat=2)])
def test_a_suspected_plate_is_nowhere_to_be_tapped_once_it_is_known_that_it_may_carry_strings(register, read_in, now):
    entry = put_right(register, scanned(register, "2026-03-14", found=True, state=read_in), now)
    told = page_says(register, entry)
    safe(now, Outcome(told.disposition, told.headline, told.summary, of_lines(told.next_steps)), True)
    assert told.headline == LOOK and told.scan.state == now
    said = notices(register, entry, load_screening(register, entry.current.id))
    assert any(n.startswith(OTHER_STATE[:40]) for n in said) == (read_in != now)
    agree(register)


@each("now", [s for s in STATES if s in IN_PIANO])
def test_silence_of_a_plate_that_turns_out_to_be_in_its_piano_is_no_answer_and_closes_nothing(register, now):
    quiet = put_right(register, scanned(register, "2026-03-14"), now)
    assert (page_says(register, quiet).headline, [e.headline for e in scan_lines(register)]) == (UNDECIDED, [UNDECIDED])
    agree(register)


@each("now", [None, *(s for s in STATES if s not in IN_PIANO)])
def test_nobody_makes_a_silent_scan_by_writing_that_the_plate_was_out_of_its_piano(register, now):
    entry = scanned(register, "2026-03-14", state="strung")
    assert page_says(register, entry).headline == UNDECIDED
    told = page_says(register, entry := put_right(register, entry, now))
    assert (told.headline, told.disposition) == (NOT_READ, "inconclusive")
    assert of_lines(told.next_steps)[0] is READ_ANEW and in_plain_words(told) == HEADLINES[NOT_READ]
    assert next_of(register) == {"B12": SHORT[READ_ANEW]}
    agree(register)
    scanned(register, "2026-03-01", found=True)
    told = page_says(register, entry)
    assert (
        told.headline == NO_ANSWER_OPEN
        and READ_ANEW in of_lines(told.next_steps)
        and "stop" in of_lines(told.next_steps)[0].acts
    )
    agree(register)


def test_silent_scans_that_were_made_in_the_piano_close_no_finding(register):
    found = scanned(register, "2026-03-14", found=True)
    add_outcome(register, found.name, Examination(PART + "hook", *EXAMINED, found.date))
    first, _ = scanned(register, "2026-04-01"), scanned(register, "2026-04-02")
    assert not open_findings(register, "B12")
    put_right(register, first, "strung")
    assert open_findings(register, "B12")
    agree(register)


@each(("read", "reason", "kind", "untold"), [
    (False, FEW, "microphone", True), (False, FEW, None, True), (False, FEW, "contact", False), (False, NO_ROOM, "microphone", False),
    (True, FEW, "contact", False), (True, FEW, "microphone", True), (None, FEW, "microphone", None),
])  # fmt: skip
def test_a_pickup_that_turns_out_to_be_a_microphone_may_have_heard_the_room(
    register, monkeypatch, read, reason, kind, untold
):
    whole = built.screening
    room = {"room": None, "room_reason": reason, "room_left_in": read}
    monkeypatch.setattr(built, "screening", lambda *f: replace(s := whole(*f), scan=replace(s.scan, **room)))
    entry = scanned(register, "2026-03-14")
    entry = edit_scan(register, entry.name, lambda e: replace(e, conditions=replace(e.conditions, sensor=Sensor(kind))))
    assert for_comparison(register, entry).scan.room_left_in is untold
    assert (KEEP_UNTOLD if untold else KEEP) in of_lines(page_says(register, entry).next_steps)
    said = notices(register, entry, load_screening(register, entry.current.id))
    assert (NO_PICKUP in said) == (bool(untold) and not read)


def test_whoever_puts_it_right_is_told_what_was_not_read_yet():
    made = replace(built.CONDITIONS, sensor=Sensor("contact"), state="stripped")
    by_air = replace(made, sensor=Sensor("microphone"))
    assert changed(made, made) == changed(by_air, replace(by_air, sensor=Sensor(None))) == ""
    assert "state" in changed(made, replace(made, state="strung")) and "listened" in changed(by_air, made)
    assert "state and what listened" in changed(made, replace(by_air, state="strung"))


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize(
    ("fact", "known"),
    [({"state": "strung"}, True), ({"sensor": Sensor("microphone")}, True), ({"fittings": ("agraffes",)}, True), ({"operator": "B."}, False)],
)  # fmt: skip
def test_what_was_compared_says_so_itself_where_the_two_are_known_by_now_to_be_unlike(register, which, fact, known):
    made = replace(built.CONDITIONS, state="stripped", sensor=Sensor("contact"), fittings=())
    first = silent(register, "2026-03-14", conditions=made)
    later = with_comparison(register, "2026-06-01", [first.name], rules_not_run=())
    later = edit_scan(register, later.name, lambda e: replace(e, conditions=made))

    def uncounted():
        now = find_scan(register, later.name)
        return [t for t in notices(register, now, stored_screening(register, now)) if "does not count" in t]

    assert not uncounted()
    edit_scan(
        register,
        (first, later)[which].name,
        lambda e: replace(e, **fact) if "operator" in fact else replace(e, conditions=replace(made, **fact)),
    )
    assert [first.name in told for told in uncounted()] == [True] * known


def test_in_the_piano_a_comparison_counts_no_more_once_a_microphone_is_known_to_have_listened():
    made = replace(built.CONDITIONS, state="strung", sensor=Sensor("contact"))
    by_air = replace(made, sensor=Sensor("microphone"))
    assert not apart_by_now(made, made)
    assert {apart_by_now(a, b) for a, b in ((by_air, by_air), (made, by_air), (by_air, made))} == {
        f"{ONLY_PICKUPS.capitalize()}."
    }


def test_a_baseline_scan_that_cannot_be_one_any_more_says_so(register):
    entry = scanned(register, "2026-03-14", baseline=True)
    for kind, known in (("contact", False), ("microphone", True), (None, True)):
        made = replace(entry.conditions, state="strung", sensor=Sensor(kind))
        entry = edit_scan(register, entry.name, lambda e, made=made: replace(e, conditions=made))
        barred = no_baseline(entry)
        said = notices(register, entry, load_screening(register, entry.current.id))
        assert bool(barred) is known and any(str(barred) in n for n in said) is known
        assert not barred or LISTENED[kind] in barred
