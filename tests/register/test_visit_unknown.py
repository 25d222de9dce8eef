"""What could not be known follows from what was not seen, not tapped, not run or not told: each line appears with its cause and goes with it."""

import pytest
from msgspec.structs import replace

from tapscan.layouts import read_layout
from tapscan.places import KEYS, REGIONS
from tapscan.records import RuleNotRun
from tapscan.register.entries import KeptFile
from tapscan.register.visit_entries import Look, Visit
from tapscan.screening.rules import RULES
from tapscan.sensors import Sensor
from tapscan.workflow.visit import Known
from tapscan.workflow.visit_unknown import unknown_of
from tests.register import built
from tests.report.sheets import strike
from tests.report.test_comparison_section import comparison

LAYOUT = read_layout("grand-short")
STRUNG = tuple(s.name for s in LAYOUT.allowed("strung"))
ALL_SEEN = tuple(Look(region, "nothing") for region in REGIONS)


@pytest.fixture
def full(stored):
    """As much as can be known in the piano: a pickup, every region seen, every allowed place tapped, a comparison with an answer."""
    conditions = replace(built.CONDITIONS, state="strung")
    entry = replace(stored(), conditions=conditions)
    made = built.screening(("ab" * 32,))
    scan = replace(made.scan, map=LAYOUT, state="strung", strikes=tuple(strike(k, s) for k, s in enumerate(STRUNG)))
    said = replace(made, scan=scan, rules_not_run=(), comparison=replace(comparison(), rules_not_run=()))
    return Known(
        Visit("B12", built.DAY, state="strung", looks=ALL_SEEN), ((entry, said),), (), (), "strung", True, None
    )


@pytest.mark.parametrize(("around", "told"), [(None, False), ("one job", True), ("seasons", True)])
def test_in_the_piano_a_comparison_without_a_finding_leaves_small_changes_open(full, around, told):
    known = scanned(full, lambda s: replace(s, comparison=replace(s.comparison, around=around)))
    assert ("small-change" in codes(known)) == told


def codes(known):
    return [u.code for u in unknown_of(known)]


def scanned(known, made=lambda s: s, entry=lambda e: e):
    (e, s) = known.scans[0]
    return replace(known, scans=((entry(e), made(s)),))


def looks(known, *changed):
    by = {look.region: look for look in (*ALL_SEEN, *changed)}
    return replace(known, visit=replace(known.visit, looks=tuple(by.values())))


def sensor(known, kind):
    return scanned(known, entry=lambda e: replace(e, conditions=replace(e.conditions, sensor=Sensor(kind))))


def strikes(known, change):
    return scanned(known, lambda s: replace(s, scan=replace(s.scan, strikes=change(s.scan.strikes))))


PHOTO = KeptFile("ab" * 32, 9, "p.jpg")
WHY_NOT = RuleNotRun(RULES[0].name, "the moon was full")
CAUSES = [
    ("hidden", lambda k: looks(k, Look("underside", "hidden", note="wall"))),
    ("not-looked", lambda k: looks(k, Look("horn"))),
    ("no-photo", lambda k: looks(k, Look("rim", "note", ("repair",)))),
    ("keys", lambda k: looks(k, Look(KEYS))),
    ("state", lambda k: replace(k, state=None)),
    ("states-differ", lambda k: replace(k, visit=replace(k.visit, state="stripped"))),
    ("no-taps", lambda k: replace(k, scans=())),
    ("no-usable-tap", lambda k: strikes(k, lambda s: tuple(replace(x, faults=("clipped",)) for x in s))),
    ("not-tapped", lambda k: strikes(k, lambda s: s[:-1])),
    ("no-layout", lambda k: scanned(k, lambda s: replace(s, scan=replace(s.scan, map=None)))),
    ("sensor", lambda k: sensor(k, None)),
    ("microphone", lambda k: sensor(k, "microphone")),
    ("checks", lambda k: scanned(k, lambda s: replace(s, rules_not_run=(WHY_NOT,)))),
    ("small-change", lambda k: scanned(k, lambda s: replace(s, comparison=replace(s.comparison, around="seasons")))),
    ("change", lambda k: scanned(k, lambda s: replace(s, comparison=None))),
]


def test_where_all_is_known_that_can_be_only_the_piano_itself_the_barred_places_and_the_time_before_are_left(full):
    assert codes(full) == ["barred", "in-piano", "before"]
    bare = replace(full, state="stripped", visit=replace(full.visit, state="stripped"))
    bare = scanned(bare, entry=lambda e: replace(e, conditions=built.CONDITIONS))
    assert codes(strikes(bare, lambda s: tuple(strike(k, p.name) for k, p in enumerate(LAYOUT.stations)))) == ["before"]


@pytest.mark.parametrize(("code", "cause"), CAUSES, ids=[code for code, _ in CAUSES])
def test_each_line_comes_with_its_cause_and_not_without(full, code, cause):
    assert code in codes(cause(full)) and code not in codes(full)


def test_the_reasons_are_told_in_full(full):
    told = {
        u.code: u
        for u in unknown_of(
            scanned(
                looks(full, Look("underside", "hidden", note="wall")), lambda s: replace(s, rules_not_run=(WHY_NOT,))
            )
        )
    }
    assert told["checks"].more.endswith("the moon was full") and "1 check " in told["checks"].text
    assert told["hidden"].more == f"{REGIONS['underside']}: wall"
    barred = [s for s in LAYOUT.stations if s.name not in STRUNG]
    assert (
        all(s.where in told["barred"].more for s in barred)
        and f"{len(barred)} places of the plan" in told["barred"].text
    )


def test_a_photo_of_the_finding_is_no_longer_missed(full):
    assert "no-photo" not in codes(looks(full, Look("rim", "note", ("repair",), photos=(PHOTO,))))
