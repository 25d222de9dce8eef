"""What counts as a silent scan, and of which finding. Found by using the tool as a shop does."""

import datetime as dt
import hashlib

import pytest
from msgspec.structs import replace

from tapscan.records import IN_PIANO
from tapscan.records.heard import Heard, Tap
from tapscan.register.corrections import move_scan, void_scan
from tapscan.register.entries import PART, Outcome, Plate
from tapscan.register.files import keep_bytes
from tapscan.register.heard import heard_in
from tapscan.register.on_record import plate_on_record
from tapscan.register.plates import add_plate
from tapscan.register.results import load_screening
from tapscan.register.scans import add_outcome, add_screening, edit_scan, find_scan, store_scan
from tapscan.screening import past_scan as past
from tapscan.screening.disposition import NOTHING, OPEN
from tapscan.screening.open_findings import asking, beside, still_open, told
from tapscan.screening.past_scan import NEAR, PastScan, same_taps
from tapscan.screening.rules import RULE_LIMITS, change_since_baseline
from tapscan.sensors import Sensor
from tapscan.settings import Settings, settings_sha256
from tapscan.workflow.conclude import conclude
from tapscan.workflow.still_open import open_findings
from tests.register import built
from tests.register.test_lists_agree import page_says, scanned
from tests.report.sheets import indication

each = pytest.mark.parametrize
BARE = {"S1": "bare: strut 2", "S2": "bare: strut 6"}
SHIPPED = settings_sha256(Settings(), RULE_LIMITS)
NAMED = Outcome(PART + "hook", "taken apart", "A. Person", dt.date(2026, 4, 2))
BLOWS = tuple(Tap("F1", 1.5 * k, -20.0 - (7 * k) % 5) for k in range(8))


def found(at="S1", rule="buzz", day="2026-04-01", **changes) -> PastScan:
    said = (indication(rule=rule, stations=(at,) if at else (), sentence=f"It is at {at}."),)
    heard = Heard(BARE, settings_sha256="a" * 64, beside=("2026-03-01",))
    whole = PastScan(f"B1/{day}", day, "relevant indication", said, part_named=True, heard=heard)
    return replace(whole, **changes)


def quiet(day, **heard) -> PastScan:
    told = replace(Heard(BARE, settings_sha256="a" * 64, beside=("2026-03-01",)), **heard)
    return PastScan(f"B1/{day}", day, "no relevant indication", (), heard=told)


def left(*scans) -> list[str]:
    return [o.sentence for o in still_open(scans)]


# beside what


@each(
    ("beside", "closed"),
    [
        (("2026-03-01",), True),
        (("2026-03-31", "2026-02-01-2"), True),
        (("2026-04-01",), False),
        (("2026-03-01", "2026-04-02"), False),
        ((), False),
    ],
)
@each("rule", ["change-since-baseline", "change-in-piano", "buzz"])
def test_of_a_change_a_scan_is_silent_only_beside_scans_from_before_it(rule, beside, closed):
    later = [quiet(day, beside=beside) for day in ("2026-05-01", "2026-06-01")]
    assert (left(found(rule=rule), *later) == []) is (closed or rule == "buzz")


def test_the_second_scan_of_a_day_is_later_than_the_first():
    later = [quiet(day, beside=("2026-04-01-2",)) for day in ("2026-05-01", "2026-06-01")]
    assert left(found(rule=change_since_baseline.NAME, name="B1/2026-04-01-10"), *later) == []
    assert left(found(rule=change_since_baseline.NAME, name="B1/2026-04-01-2"), *later)


# where


def test_findings_of_one_rule_at_two_places_are_two_and_a_part_closes_its_own():
    one, other = found("S1", part_named=False), found("S2", day="2026-05-01")
    later = [quiet(day) for day in ("2026-06-01", "2026-07-01")]
    assert left(one, other) == ["It is at S2.", "It is at S1."]
    assert left(one, other, *later) == ["It is at S1."]
    opened = still_open([one, other])
    assert beside(opened, other.relevant) == opened[1:], "the scan at hand shows the other one itself"
    assert asking(opened) == ["buzz"] and "of 2026-04-01 (S1)" in told(opened)


@each(("at", "many"), [("S1", 1), ("S2", 2), ("", 2)])
def test_a_finding_made_again_stands_once(at, many):
    assert len(left(found("S1"), found(at, day="2026-05-01"))) == many


def test_a_spot_that_was_drawn_elsewhere_is_another_place():
    was = found(heard=replace(found().heard, spots={"S1": (0.2, 0.7)}))
    for x, closed in ((0.2 + 0.9 * NEAR, True), (0.2 + 1.1 * NEAR, False)):
        later = [quiet(day, spots={"S1": (x, 0.7)}) for day in ("2026-05-01", "2026-06-01")]
        assert (left(was, *later) == []) is closed


# by what


@each(("sha256", "closed"), [("a" * 64, True), (SHIPPED, True), ("b" * 64, False)])
def test_a_reading_by_other_limits_is_not_silent(sha256, closed):
    later = [quiet(day, settings_sha256=sha256) for day in ("2026-05-01", "2026-06-01")]
    assert (left(found(), *later) == []) is closed


def test_a_microphone_that_was_read_as_a_pickup_is_not_silent():
    later = [quiet(day, room_unread=day == "2026-06-01") for day in ("2026-05-01", "2026-06-01")]
    assert left(found(), *later)


@each(
    ("later", "why"),
    [
        ({"relevant": (indication(rule="long-decay"),)}, past.FOUND_ITSELF),
        ({"not_run": ("change-since-baseline",)}, past.NOT_MADE),
        ({"disposition": "inconclusive"}, past.NO_ANSWER),
        ({"heard": Heard(BARE, settings_sha256="a" * 64)}, past.BESIDE_LATER),
        ({"heard": Heard(beside=("2026-03-01",), settings_sha256="a" * 64)}, past.ELSEWHERE),
        ({"heard": Heard(BARE, settings_sha256="b" * 64, beside=("2026-03-01",))}, past.OTHER_LIMITS),
        ({"heard": replace(quiet("2026-05-01").heard, room_unread=True)}, past.ROOM_UNREAD),
    ],
)
def test_whoever_waits_for_it_to_close_is_told_what_is_wanting(later, why):
    one, other = quiet("2026-05-01"), replace(quiet("2026-06-01"), **later)
    (left_open,) = [o for o in still_open([found(rule="change-since-baseline"), one, other]) if o.date == "2026-04-01"]
    assert "2 silent" in left_open.wants and "2026-06-01" in left_open.wants and why in left_open.wants
    assert left_open.wants in told([left_open])
    (left_open,) = still_open([found(rule="change-since-baseline"), one])
    assert "1 silent" in left_open.wants and "does not count" not in left_open.wants
    (left_open,) = still_open([found(rule="change-since-baseline", part_named=False), one, one])
    assert left_open.wants == "", "no part is named"
    again = replace(one, name="B1/2026-06-01", date="2026-06-01", heard=replace(one.heard, files=("a",)))
    (left_open,) = still_open([found(), replace(one, heard=again.heard), again])
    assert "1 silent" in left_open.wants and "2026-06-01" in left_open.wants


# of which taps

COPIES = [
    tuple(
        replace(t, onset_s=t.onset_s + 0.026, level_db=t.level_db - 3.0) for t in BLOWS
    ),  # as a phone's format has it
    tuple(replace(t, recording=f"F{k}", onset_s=0.3) for k, t in enumerate(BLOWS)),  # cut into a file each
]


def test_a_copy_in_another_format_is_of_the_same_taps():
    mine = Heard(taps=BLOWS, files=("a",))
    assert same_taps(mine, Heard(taps=COPIES[0], files=("b",))) and same_taps(mine, Heard(files=("c", "a")))
    cut = Heard(taps=COPIES[1], files=("b",))
    later = tuple(replace(t, onset_s=t.onset_s + 0.1 * k) for k, t in enumerate(COPIES[1]))
    assert same_taps(cut, Heard(taps=later, files=("c",))), "each file may begin elsewhere"
    for k, by in ((2, {"onset_s": 3.01}), (3, {"level_db": -21.5})):
        other = tuple(replace(t, **by) if n == k else t for n, t in enumerate(BLOWS))
        assert not same_taps(mine, Heard(taps=other, files=("b",)))
    assert not same_taps(Heard(taps=BLOWS[:3]), Heard(taps=BLOWS[:3])), "so few may be alike by chance"


@each("again", [{"files": ("a",)}, {"taps": COPIES[0]}])
def test_a_recording_that_is_stored_again_counts_once(again):
    first = quiet("2026-05-01", files=("a",), taps=BLOWS)
    other = quiet("2026-06-01", files=("z",), taps=BLOWS[::-1])
    assert left(found(), first, quiet("2026-06-01", **again)) and left(found(), first, other) == []
    assert left(first, found(day="2026-05-02"), quiet("2026-06-01", **again), other), "nor one from before the finding"


# in the register


def tapped(register, day, *, changed=False, beside=(), plate="B12", **scan):
    """A scan by tap; `changed` against `beside`."""
    content = f"{plate} {day}".encode()
    made = read(hashlib.sha256(content).hexdigest(), f"{plate}/{day}", changed=changed, beside=beside, **scan)
    new = built.new_scan(date=dt.date.fromisoformat(day), checklist=())
    return store_scan(register, plate, new, built.made(made), [keep_bytes(register.folder, content, "S1_1.wav")])


def read(sha256, name, *, changed, beside, settings=SHIPPED, **scan):
    alone = built.screening((sha256,))
    said = (replace(alone.indications[0], rule=change_since_baseline.NAME),) if changed else ()
    compared = replace(built.comparison(), later=name, baselines=tuple(beside)) if beside else None
    more = replace(alone, indications=said, rules_not_run=(), settings_sha256=settings, comparison=compared)
    return conclude(replace(more, scan=replace(more.scan, **scan)), Settings())


def anew(register, entry, **how):
    file = entry.files[0].sha256
    return add_screening(register, entry.name, built.made(read(file, entry.name, **{"changed": False, **how})))


@each(
    ("how", "gone"),
    [
        ({"beside": ("B12/2026-01-01",)}, True),
        ({"beside": ("B12/2026-02-01",)}, False),  # it may hold what had been found beside the other
        ({"beside": ("B12/2026-01-01", "B12/2026-02-01")}, True),
        ({"beside": ("B12/2026-01-01", "B12/2026-04-01")}, False),
        ({"beside": ("B12/2026-01-01",), "settings": "b" * 64}, False),
    ],
)
def test_a_change_is_gone_from_a_scan_only_where_it_was_looked_for_as_before(register, how, gone):
    for day in ("2026-01-01", "2026-02-01", "2026-04-01"):
        tapped(register, day)
    entry = tapped(register, "2026-03-01", changed=True, beside=("B12/2026-01-01",))
    anew(register, entry, **how)
    assert (open_findings(register, "B12") == ()) is gone


def test_a_finding_is_gone_only_where_its_place_was_listened_to_again(register):
    entry = scanned(register, "2026-03-14", found=True)
    was = load_screening(register, entry.current.id)
    elsewhere = tuple(s for s in was.scan.strikes if s.station != "S1")
    for strikes, gone in ((elsewhere, False), (was.scan.strikes, True)):
        now = replace(was, indications=(), scan=replace(was.scan, strikes=strikes))
        add_screening(register, entry.name, built.made(conclude(now, Settings())))
        assert (open_findings(register, "B12") == ()) is gone


def test_what_an_earlier_reading_found_is_held_against_the_limits_of_that_reading(register):
    tapped(register, "2026-01-01")
    beside = {"beside": ("B12/2026-01-01",)}
    entry = tapped(register, "2026-03-01", changed=True, **beside)
    add_outcome(register, entry.name, NAMED)
    anew(register, entry, settings="b" * 64, **beside)
    lax = [tapped(register, day, settings="b" * 64, **beside) for day in ("2026-04-01", "2026-05-01")]
    (left_open,) = open_findings(register, "B12")
    assert past.OTHER_LIMITS in left_open.wants and "twice" not in left_open.wants
    for one in lax:
        anew(register, one, **beside)
    assert open_findings(register, "B12") == ()


def test_beside_a_baseline_that_does_not_count_any_more_it_need_not_be_looked_for_again(register):
    first, _ = tapped(register, "2026-01-01"), tapped(register, "2026-02-01")
    entry = tapped(register, "2026-03-01", changed=True, beside=(first.name,))
    anew(register, entry, beside=("B12/2026-02-01",))
    void_scan(register, first.name, "another plate", dt.date(2026, 5, 1))
    assert open_findings(register, "B12") == ()


def test_a_baseline_that_does_not_count_any_more_has_shown_no_silence(register):
    first = tapped(register, "2026-01-01")
    one = tapped(register, "2026-03-01", changed=True, beside=(first.name,))
    add_outcome(register, one.name, NAMED)
    _, last = (tapped(register, day, beside=(first.name,)) for day in ("2026-04-01", "2026-05-01"))
    assert open_findings(register, "B12") == () and page_says(register, last).headline == NOTHING
    edit_scan(register, first.name, lambda e: replace(e, conditions=replace(e.conditions, state=IN_PIANO[0])))
    assert open_findings(register, "B12") and page_says(register, last).headline == OPEN
    edit_scan(register, first.name, lambda e: replace(e, conditions=replace(e.conditions, state="stripped")))
    void_scan(register, first.name, "a lorry", dt.date(2026, 6, 1))
    assert open_findings(register, "B12") and page_says(register, last).headline == OPEN


def test_a_part_that_was_named_of_another_plate_closes_nothing_here(register):
    add_plate(register, Plate("C7"))
    tapped(register, "2026-01-01")
    one = tapped(register, "2026-03-01", changed=True, beside=("B12/2026-01-01",))
    tapped(register, "2026-04-05", beside=("B12/2026-01-01",))
    other = tapped(register, "2026-04-01", plate="C7", beside=("B12/2026-01-01",))
    add_outcome(register, other.name, NAMED)
    moved = move_scan(register, other.name, "B12", "it was B12", dt.date.today() + dt.timedelta(1))
    assert [o.scan for o in open_findings(register, "B12")] == [one.name]
    add_outcome(register, one.name, NAMED)
    assert open_findings(register, "B12") == () and find_scan(register, moved.name).moves


def test_the_light_record_knows_what_the_scans_at_hand_do(register):
    """With a comparison, and with a microphone that turned out to have listened."""
    told = {"room_left_in": False, "room_reason": "a pickup hears none"}
    tapped(register, "2026-01-01")
    entry = tapped(register, "2026-03-01", changed=True, beside=("B12/2026-01-01",), **told)
    add_outcome(register, entry.name, NAMED)
    whole = heard_in(load_screening(register, entry.current.id))
    _, light = plate_on_record(register, "B12").scans
    assert light.heard == whole and whole.beside == ("2026-01-01",) and not whole.room_unread
    microphone = Sensor("microphone")
    edit_scan(register, entry.name, lambda e: replace(e, conditions=replace(e.conditions, sensor=microphone)))
    _, light = plate_on_record(register, "B12").scans
    assert light.heard == replace(whole, room_unread=True)
    two = [tapped(register, day, beside=("B12/2026-01-01",), **told) for day in ("2026-04-01", "2026-05-01")]
    assert open_findings(register, "B12") == ()
    change = lambda e: replace(e, conditions=replace(e.conditions, sensor=microphone))  # noqa: E731
    edit_scan(register, two[1].name, change)
    assert open_findings(register, "B12") and page_says(register, find_scan(register, two[1].name)).headline == OPEN, (
        "its own page too"
    )
