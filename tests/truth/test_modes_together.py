"""All stations fitted together, against simulated plates (finite elements: another road than the estimator's).

A short form of bench/accuracy.py; asked at 50 dB: recall and precision .98, frequency within 2 ppm in the middle and 15 ppm for nine in ten, loss within 0.1 and 1 %. Simulated throughout.
"""

from functools import cache

import numpy as np
import pytest

from bench import accuracy_plates as simulated
from tapscan.records import Pole
from tapscan.signal.fit.spurious import echoes, without_satellites

SEED = 4  # a concert grand of loss factor .0115, more than any asked for: the most crowded of the bench


@cache
def score(row: str) -> simulated.Scored:
    truth = simulated.plate_of(SEED, 20.0)
    if row == "warming":
        plates = [simulated.plate_of(SEED, 19.5 + k / 19, 0.003 * k / 19) for k in range(20)]
        return simulated.scored(simulated.measured(plates, SEED, 50.0, "pickup 1"), truth)
    snr_db = 35.0 if row == "35 dB" else 50.0
    return simulated.scored(simulated.measured(truth, SEED, snr_db, "pickup 1"), truth)


@pytest.mark.parametrize(
    ("row", "recall", "precision", "ppm", "loss"),
    [
        ("50 dB", 0.98, 0.98, (2, 15), (0.1, 1.0)),
        ("35 dB", 0.96, 0.97, (10, 100), (0.5, 3.0)),  # .97 is asked of the mean of plates; this one is the hardest
        ("warming", 0.98, 0.98, (20, 60), (0.1, 1.0)),  # ppm: the pads move each mode by its own few ppm
    ],
)
def test_a_crowded_plate_is_known_mode_by_mode(row, recall, precision, ppm, loss):
    found = score(row)
    figures = [np.quantile(x, q) for x in (found.frequency_ppm, found.loss_percent) for q in (0.5, 0.9)]
    print(row, found.recall, found.precision, figures)
    assert found.recall >= recall
    assert found.precision >= precision
    assert figures[0] <= ppm[0]
    assert figures[1] <= ppm[1]
    assert figures[2] <= loss[0]
    assert figures[3] <= loss[1]


def test_a_pole_with_its_stronger_neighbours_pattern_is_an_echo():
    rng = np.random.default_rng(1)
    a, b, c = rng.standard_normal((3, 40)) + 1j * rng.standard_normal((3, 40))
    mixture = 0.1 * a - 0.05 * b
    poles = np.array([500.0, 505.0, 503.0, 507.0]), np.full(4, 10.0)
    assert echoes(*poles, np.array([a, b, mixture, 0.1 * c]), 20).tolist() == [False, False, True, False]
    # with few stations any pattern is a mixture of others: the rule keeps silent
    assert not echoes(*poles, np.array([a, b, mixture, 0.1 * c]), 4).any()


def test_a_faint_pole_on_the_flank_of_a_strong_one_is_its_satellite():
    """Half a linewidth and 26 dB of energy are the limits; outside either it is a mode of its own."""

    def pole(f, d, a):
        return Pole(f, 1e-3, d, 1e-2, (a + 0j, 0.5j * a), 30.0)

    strong = pole(300.0, 3.0, 1.0)  # linewidth 0.95 Hz
    near, far, loud = pole(300.4, 3.0, 0.04), pole(300.6, 3.0, 0.04), pole(300.3, 3.0, 0.06)
    assert without_satellites([strong, near]) == [strong]
    assert without_satellites([strong, far]) == [strong, far]
    assert without_satellites([strong, loud]) == [strong, loud]
    assert without_satellites([]) == []
