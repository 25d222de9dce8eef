"""How bench/accuracy.py matches estimates to true modes: as many as lie within a linewidth, each once."""

import numpy as np
import pytest
from msgspec.structs import replace

from bench import accuracy_plates as simulated
from tests.rule_scans import mode


@pytest.fixture(scope="module")
def plate():
    return simulated.plate_of(4)


def test_a_second_estimate_farther_off_takes_no_mode_from_the_one_that_lies_on_it(plate):
    """Least distance in sum would match the far one, and the near one to a neighbour two widths away: both lost."""
    f, width = plate.frequency_hz, plate.frequency_hz * plate.loss_factor
    gaps = np.diff(f) / width[:-1]
    i = int(np.nonzero((f[:-1] > 200) & (f[:-1] < 1000) & (gaps > 1.5) & (gaps < 4))[0][0])
    close, off = mode("M1", f[i] + 0.1 * width[i]), mode("M2", f[i] - 1.3 * width[i])
    score = simulated.scored((close, off), plate)
    asked = int(((f > simulated.LOW_HZ) & (f < simulated.HIGH_HZ)).sum())
    assert score.recall == pytest.approx(1 / asked)
    assert score.precision == 0.5
    assert score.frequency_ppm[0] == pytest.approx(1e6 * 0.1 * plate.loss_factor[i], rel=1e-6)


def test_two_estimates_of_one_mode_count_once_and_intervals_are_held_against_the_truth(plate):
    i = int(np.argmin(np.abs(plate.frequency_hz - 500)))
    true = float(plate.frequency_hz[i])
    right = replace(mode("M1", true + 0.01, loss=float(plate.loss_factor[i])), frequency_sd_hz=0.006)
    score = simulated.scored((right, mode("M2", true + 0.02)), plate)
    assert score.precision == 0.5
    assert score.held == (1.0, 1.0)
    assert simulated.scored((replace(right, frequency_sd_hz=0.005),), plate).held[0] == 0.0
