"""Another casting and exchanged places are noticed, right scans are left alone: mode lists of simulated plates with modelled errors."""

import pickle

import pytest
from msgspec.structs import replace

from bench.identity import RIGHT, answers, castings, named
from tapscan.records import Fingerprint
from tapscan.screening.compare.identity import exchanged, fingerprint, not_judged, whose
from tapscan.settings import Settings
from tapscan.workflow.identity import given_back
from tests import compared
from tests.every import each
from tests.shared import once

SETTINGS = Settings()
NOW = compared.scan(seed=2)
BEFORE = compared.scan(seed=1)


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """A short run of bench/identity.py, its first castings; bench/results/identity.txt has the long one."""
    found = once(tmp_path_factory, "identity", _answers_in) / "answers.pickle"
    return pickle.loads(found.read_bytes())


def _answers_in(folder):
    every = [answer for casting in castings(4) for answer in answers(casting)]
    (folder / "answers.pickle").write_bytes(pickle.dumps(every))


def test_another_casting_of_the_pattern_is_noticed(told):
    part = [a for a in told if a.kind == "another casting"]
    assert len(part) == 20
    assert {a.whose for a in part} == {"another casting"}


def test_two_exchanged_places_are_named_and_no_others(told):
    part = [a for a in told if a.truth]
    assert {a.places for a in part} == {8, 20}
    assert sum(named(a) for a in part) >= 0.95 * len(part)


def test_right_scans_are_not_asked_about_even_with_a_severed_strut(told):
    part = [a for a in told if a.kind in RIGHT]
    assert {a.kind for a in part} == set(RIGHT)
    assert len(part) > 250
    assert sum(a.asked for a in part) <= 0.005 * len(part)


def test_a_plate_of_another_pattern_is_never_taken_for_this_one(told):
    part = [a for a in told if a.kind == "another pattern"]
    assert {a.whose for a in part} <= {"another plate", "unclear"}
    assert sum(a.asked for a in part) >= 0.8 * len(part)


@each(
    ("again", "alike", "rose"),
    [(0.13, 0.68, 0.33), (0.15, 0.78, 0.05), (0.19, 0.8, 0.11), (0.22, 0.8, 0.18), (0.24, 0.81, 0.2)],
)
def test_a_large_crack_at_the_rim_is_no_other_casting(again, alike, rose):
    """As bench/identity.py had them of cracks of 30 mm in the rim at 20 and 24 places: few modes heard again, and their shapes are others, too."""
    crack = Fingerprint(again, alike, 0.95, rose)
    assert whose(crack, SETTINGS) == "unclear"
    assert whose(replace(crack, alike=0.89), SETTINGS) == (
        "another casting" if again < 0.15 or rose > 0.1 else "unclear"
    )


def test_three_places_in_a_ring_are_named():
    ring = {"S1": "S4", "S4": "S7", "S7": "S1"}
    moved = replace(
        NOW,
        modes=tuple(
            replace(m, amplitudes=tuple(replace(s, station=ring.get(s.station, s.station)) for s in m.amplitudes))
            for m in NOW.modes
        ),
    )
    (group,) = exchanged(BEFORE, moved, SETTINGS)
    assert dict(given_back([group])) == {stands: belongs for belongs, stands in ring.items()}
    assert exchanged(BEFORE, NOW, SETTINGS) == ()


def test_nothing_is_told_in_the_piano_or_from_too_little():
    assert not_judged(BEFORE, NOW, SETTINGS) is None
    assert whose(fingerprint(BEFORE, NOW, SETTINGS), SETTINGS) == "same"
    few_modes = replace(NOW, modes=NOW.modes[:19])
    few_places = replace(NOW, strikes=NOW.strikes[:3])
    for later, why in (
        (replace(NOW, state="strung"), "piano"),
        (few_modes, "fewer than 20 modes"),
        (few_places, "fewer than 4 places"),
    ):
        assert why in (not_judged(BEFORE, later, SETTINGS) or "")
