"""Strings: one stretched series, decaying together, where there are strings; a plate's modes are no series."""

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.records import RuleNotRun
from tapscan.screening.mode_origins import with_origins
from tapscan.screening.rules import string
from tapscan.screening.string_series import string_series, usual_inharmonicity
from tapscan.settings import Settings
from tests.rule_scans import mode, scan

S = Settings()
PLATE = [mode(f"P{i}", f, loss=0.004) for i, f in enumerate(np.random.default_rng(7).uniform(60, 2000, 70))]


def partials(f0: float, b: float, count: int, t60=6.0, bend=()):
    """Truth: f_n = n f0 sqrt(1 + B n^2) (Fletcher 1964)."""
    out = []
    for n in range(1, count + 1):
        cents = dict(bend).get(n, 0.0)
        f = n * f0 * np.sqrt(1 + b * n * n) * 2 ** (cents / 1200)
        out.append(mode(f"N{n}", float(f), t60_s=t60 if np.isscalar(t60) else t60[n - 1]))
    return out


def ordered(modes):
    return sorted(modes, key=lambda m: m.frequency_hz)


def test_young_1952_middle_c():
    """1.2 cents at n = 2 for middle C: B = 3.5e-4; doubles every eight semitones above."""
    assert usual_inharmonicity(261.6) == pytest.approx(3.5e-4, rel=0.05)
    assert usual_inharmonicity(261.6 * 2 ** (8 / 12)) == pytest.approx(7.0e-4, rel=0.05)
    assert 5e-5 <= usual_inharmonicity(55.0) <= 3e-4


@pytest.mark.parametrize(("f0", "b"), [(110.0, 2e-4), (220.0, 3e-4), (440.0, 9e-4)])
def test_the_partials_of_a_string_among_a_plates_modes(f0, b):
    (found,) = string_series(ordered([*PLATE, *partials(f0, b, 5)]), S)
    assert found.modes == ("N1", "N2", "N3", "N4", "N5")
    assert found.fundamental_hz == pytest.approx(f0, rel=1e-4)
    assert found.inharmonicity == pytest.approx(b, rel=1e-2)


def test_two_partials_are_too_few_and_three_are_enough():
    assert string_series(ordered([*PLATE, *partials(220.0, 3e-4, 2)]), S) == []
    assert len(string_series(ordered([*PLATE, *partials(220.0, 3e-4, 3)]), S)) == 1


def test_a_tone_that_strays_from_the_series_is_left_out():
    """The sixth lies 20 cents off, where a stiffer string of that pitch might have it."""
    (found,) = string_series(ordered([*PLATE, *partials(220.0, 3e-4, 6, bend=[(6, 20.0)])]), S)
    assert found.modes == ("N1", "N2", "N3", "N4", "N5")


@pytest.mark.parametrize(
    "row",
    [
        partials(220.0, 0.0, 3),  # a harmonic series has no stiffness: no steel string
        partials(220.0, 6e-3, 5),  # far too stiff for its pitch
        partials(220.0, 3e-4, 3, bend=[(2, 25.0)]),
        partials(220.0, 3e-4, 3, t60=[8.0, 2.0, 8.0]),  # each lasts longer than the plate, but not together
        partials(220.0, 3e-4, 5, t60=0.5),  # no longer than the plate
    ],
)
def test_rows_that_are_no_string(row):
    assert string_series(ordered([*PLATE, *row]), S) == []


def test_its_tones_are_nonrelevant_and_only_looked_for_where_there_are_strings():
    modes = ordered([*PLATE, *partials(220.0, 3e-4, 4)])
    strung = with_origins(scan(modes, state="strung"), S)
    assert {m.id for m in strung.modes if m.origin == "string"} == {"N1", "N2", "N3", "N4"}
    (found,) = string.run(strung, S)
    assert found.interpretation == "nonrelevant"
    assert "220.0 Hz" in found.sentence
    bare = with_origins(replace(strung, state="stripped", modes=tuple(modes)), S)
    assert all(m.origin == "plate" for m in bare.modes)
    for state, match in (("stripped", "no strings"), (None, "not given")):
        outcome = string.run(replace(bare, state=state), S)
        assert isinstance(outcome, RuleNotRun)
        assert match in outcome.reason
