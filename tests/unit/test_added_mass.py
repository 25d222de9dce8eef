"""Weight or crack: the four figures have the signs that mechanics gives them, and the numbers are the bench's."""

import re
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace

from tapscan.screening.compare import added_mass
from tapscan.screening.compare.added_mass import explain, log_odds, station_fits, weight_features
from tapscan.screening.compare.condition_changes import ConditionChanges
from tapscan.screening.compare.measure import measure
from tapscan.settings import Settings
from tests.compared import BASE, COUNT, SETTINGS, drawn, scan

FITTED = Path(__file__).parents[2] / "bench" / "results" / "weight_or_crack.txt"


def measured(drops, baselines=3):
    return measure(
        scan(-np.asarray(drops), seed=48), [b.scan for b in BASE[:baselines]], True, ConditionChanges(), SETTINGS
    )


def of_a_weight(place=3, share=1.5e-3):
    """Rayleigh: drops as the squares of the deflections beside one place, so some modes stay where they were."""
    _, shape = drawn()
    rng = np.random.default_rng(5)
    beside = 0.6 * shape[:, place] * rng.choice([-1, 1], COUNT) + 0.8 * rng.standard_normal(COUNT)
    return share * beside**2


def test_the_numbers_that_ship_are_those_the_bench_fitted():
    text = FITTED.read_text(encoding="utf-8")
    told = {
        name: eval(re.search(rf"^{name} = (.*)$", text, re.M).group(1)) for name in ("CENTRES", "WEIGHTS", "CONSTANT")
    }
    assert told == {name: getattr(added_mass, name) for name in told}
    assert f"mass_limit = {Settings().compare.mass_limit}" in text


def test_each_figure_speaks_the_way_it_should():
    """Far from half a kilogram's size, uneven, at a tapped place, and scattered over those that moved least: all against a weight."""
    distance, evenness, share, over = added_mass.WEIGHTS
    assert distance < 0 and evenness < 0 and share < 0 and over < 0


def test_modes_over_those_that_moved_least_are_counted():
    weight = weight_features(measured(of_a_weight()))
    lifted = of_a_weight()
    lifted[10::12] = -1e-3 * np.arange(1, 6)  # a few modes over the rest, each elsewhere
    scattered = weight_features(measured(lifted))
    assert weight.over < 0.02 < scattered.over
    assert log_odds(scattered) < log_odds(weight)


def test_sizes_are_told_band_by_band():
    one, two = (weight_features(measured(of_a_weight(share=s))) for s in (1e-3, 2e-3))
    assert np.allclose(two.levels - one.levels, np.log(2), atol=0.1)
    assert two.size == pytest.approx(2 * one.size, rel=0.05)


def test_a_point_mass_at_a_station_is_explained_by_it():
    _, shape = drawn()
    energy = shape**2 / (shape**2).mean(axis=1, keepdims=True)
    assert weight_features(measured(2e-3 * energy[:, 4])).station == "S5"
    share, factor = station_fits(2e-3 * energy[:, 4], energy)
    assert share[4] == pytest.approx(1.0) and factor[4] == pytest.approx(2e-3)


def test_too_little_is_no_answer():
    few = measured(of_a_weight())
    assert explain(few, SETTINGS) is not None
    high = scan(seed=48)
    cut = replace(high, modes=tuple(m for m in high.modes if m.frequency_hz < 700))
    base = [replace(b.scan, modes=tuple(m for m in b.scan.modes if m.frequency_hz < 700)) for b in BASE]
    assert explain(measure(cut, base, True, ConditionChanges(), SETTINGS), SETTINGS) is None


@pytest.mark.parametrize("mean_square", [0.6, 1.0, 2.0, 3.0])
def test_the_weight_is_told_as_a_range_that_holds_it(mean_square):
    """Rayleigh: a mode falls by half of the weight's share times its deflection squared there over the plate's mean."""
    share = 0.005
    fall = of_a_weight(share=1.0)
    told = explain(measured(0.5 * share * mean_square * fall / fall.mean()), SETTINGS)
    assert told.between[0] < share < told.between[1]
    assert told.between[0] <= told.plate_share <= told.between[1]
