"""A plate beside other castings of its pattern (simulated; bench/pattern.py counts the rates)."""

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.records import BesidePattern, Scan
from tapscan.screening.pattern.among_sisters import UNLIKE_OTHERS, beside_pattern, noticed
from tapscan.screening.pattern.casting_pairs import beside, own_modes, shape_change
from tapscan.screening.pattern.measure import flawed_among, lot_of
from tapscan.screening.pattern.references import FLAW, MOST, fit_for, reference_of, same_plate
from tapscan.screening.pattern.same_pattern import sounds_like, two_or_one
from tapscan.screening.rules import unlike_its_pattern as rule
from tapscan.settings import Settings
from tests.every import each
from tests.unit.castings import casting, half_deep, reference, severed

SETTINGS = Settings()
SISTERS = [reference(n) for n in range(1, 6)]


def held(scan: Scan, references) -> BesidePattern:
    return beside_pattern("small grand", reference_of("plate", scan, "contact"), scan, references, SETTINGS)


@each(
    ("label", "case", "state", "expected"),
    [
        ("sound", "sound", {}, set()),
        ("severed strut", severed(), {}, {"P1"}),
        ("rubbing crack", "sound", {"rubbing": half_deep()}, {"P2"}),
    ],
)
def test_what_is_called_beside_five_sisters(label, case, state, expected):
    found = held(casting(0, case, **state), SISTERS)
    assert {i.id for i in found.indications} >= expected and bool(found.indications) == bool(expected), label
    assert found.used == ("C1", "C2", "C3", "C4", "C5"), label


def test_it_says_how_many_plates_it_rests_on_and_needs_three():
    called = held(casting(0, severed()), SISTERS[:3]).indications[0]
    (count,) = [c for c in called.conditions if c.name == "plates it is held against"]
    assert (count.value, count.limit) == (3.0, 3.0)
    for number in (0, 1, 2):
        found = held(casting(0, severed()), SISTERS[:number])
        (why,) = found.rules_not_run
        assert why.rule == rule.NAME and "needs three" in why.reason and not found.indications
        assert {f.reason for f in (found.unlike, found.losses)} == {why.reason}, "no other reason stands beside it"


def test_silent_where_the_sisters_scatter_too_much():
    rng = np.random.default_rng(1)
    far = [
        replace(s, frequency_hz=s.frequency_hz * np.exp(0.02 * rng.standard_normal(len(s.frequency_hz))))
        for s in SISTERS
    ]
    found = held(casting(0, severed()), far)
    assert found.scatter_percent is not None and found.scatter_percent > 1.0
    assert found.indications == () and found.unlike.value is None and "scatter" in (found.unlike.reason or "")
    assert found.rules_not_run  # never to be read as passed


def test_silent_on_losses_where_these_scatter():
    rng = np.random.default_rng(2)
    loose = [
        replace(s, loss_factor=s.loss_factor * np.exp(0.3 * rng.standard_normal(len(s.loss_factor)))) for s in SISTERS
    ]
    found = held(casting(0, rubbing := "sound"), loose)
    assert rubbing and found.losses.value is None and found.unlike.value is not None


def test_a_flawed_reference_is_noticed_named_and_left_out():
    lot = [reference(6, severed()), *SISTERS]
    standing = {s.name: s.stands_out for s in noticed(lot, SETTINGS)}
    assert [name for name, out in standing.items() if out] == ["C6"]
    found = held(casting(0), lot)
    assert [(s.name, s.left_out) for s in found.sisters if s.left_out] == [("C6", UNLIKE_OTHERS)]
    assert any("C6" in line for line in found.limitations)


def test_a_reference_with_a_bad_outcome_is_never_used():
    lot = [replace(s, outcome="flaw") if s.name == "C1" else s for s in SISTERS]
    found = held(casting(0), lot)
    assert "C1" not in found.used and ("C1", FLAW) in [(s.name, s.left_out) for s in found.sisters]


@each(
    ("label", "change"),
    [
        ("state", {"state": "finished"}),
        ("sensor", {"sensor": "microphone"}),
        ("layout", {"layout": "grand-long"}),
        ("open finding", {"standing": "nobody has examined it"}),
    ],
)
def test_only_like_scans_are_references(label, change):
    fit = fit_for(reference(0), [replace(SISTERS[0], **change), *SISTERS[1:]])
    assert "C1" not in [r.name for r in fit.used] and "C1" in [s.name for s in fit.left_out], label


def test_a_plate_scanned_twice_counts_once_and_not_for_itself():
    again = replace(reference(0), name="own, in a set")
    assert same_plate(reference(0), again) and not same_plate(reference(0), SISTERS[0])
    fit = fit_for(reference(0), [again, *SISTERS, replace(SISTERS[0], name="twice")])
    assert [s.name for s in fit.left_out] == ["own, in a set", "twice"]


def test_no_more_references_than_help():
    many = [replace(reference(n), name=f"C{n}") for n in range(1, MOST + 3)]
    assert len(fit_for(reference(0), many).used) == MOST


def test_veering_of_two_modes_is_hardly_a_change_of_shape():
    """Rotating two near modes into each other keeps the sum of their squares at every place (linear algebra): what is compared must hardly move."""
    whole = own_modes(SISTERS[0], SISTERS[0].stations)
    gaps = np.diff(whole.log_frequency)
    k = int(np.argmin(gaps))
    mixed = whole.pattern.copy()
    a, b = whole.pattern[k], whole.pattern[k + 1]
    mixed[k], mixed[k + 1] = (a + b) / np.sqrt(2), np.abs(a - b) / np.sqrt(2)
    veered = replace(whole, pattern=mixed)
    gone = replace(whole, pattern=np.roll(whole.pattern, 1, axis=0))
    same, little, much = (shape_change(whole, other, 0.0) for other in (whole, veered, gone))
    assert same == pytest.approx(0.003)  # SAME, what two scans show anyway
    assert little - same < 0.1 * (much - same)


def test_pairs_find_the_shift_that_all_modes_share():
    one = own_modes(SISTERS[0], SISTERS[0].stations)
    moved = replace(one, log_frequency=one.log_frequency + 0.031)
    pairs = beside(one, moved)
    assert pairs.shift == pytest.approx(0.031, abs=1e-4) and len(pairs.index) == len(one)
    assert (pairs.index[:, 0] == pairs.index[:, 1]).all()


def test_three_references_are_never_thinned_out():
    lot = lot_of([own_modes(r, r.stations) for r in (reference(6, severed()), *SISTERS[:2])])
    assert flawed_among(lot, lambda _: 0.0) == []


def test_one_name_for_two_patterns_and_two_for_one_are_suggested():
    other = [reference(n, "sound", "parlour-grand") for n in range(3)]
    assert two_or_one({"small grand": SISTERS, "parlour grand": other}) == ()
    (split,) = two_or_one({"grand": [*SISTERS, *other]})
    assert "two groups" in split
    (joined,) = two_or_one({"small grand": SISTERS[:3], "grand, small": SISTERS[3:]})
    assert "one pattern" in joined
    assert sounds_like(reference(7), "parlour grand", {"small grand": SISTERS})
    assert not sounds_like(reference(7), "small grand", {"parlour grand": other})
