"""A drawing that is off is put right by the measured patterns, as far as they tell."""

import time

import numpy as np
import pytest

from tapscan.demo.shop import PLATES, layout_text
from tapscan.layouts import layout_from_text
from tapscan.model.altered import altered
from tapscan.model.rough import rough_model
from tapscan.screening.location.fitted import _Search, fitted
from tapscan.screening.location.told_by_others import Covariance, Patterns
from tapscan.settings import Settings
from tapscan.workflow.where import models_folder

SETTINGS = Settings()
LAYOUT = layout_from_text(layout_text(next(p for p in PLATES if p.pattern == "small-grand")), "demo")
PLACES = np.array([(s.x, s.y) for s in LAYOUT.stations])
WAYS_M = 0.012 * np.random.default_rng(2).standard_normal(PLACES.shape)


@pytest.fixture(scope="module")
def model():
    return rough_model(LAYOUT.outline, models_folder())


@pytest.fixture(scope="module")
def iron(model):
    """The plate as it is: web and struts not as drawn, and tapped up to some centimetres beside the places drawn."""
    thick = 0.15 * np.random.default_rng(1).standard_normal(len(model.stiffness))
    plate = altered(model, thick, 0.04)
    inside = (plate.frequency_hz > 60) & (plate.frequency_hz < 1300)
    shape = model.at(PLACES + WAYS_M / model.size_m) @ plate.mix
    return Patterns(plate.frequency_hz[inside], shape[:, inside].T), shape[:, inside]


def test_slopes_of_the_search_are_its_own_differences(model, iron):
    """With signs that are not known here and there."""
    motion = np.where(np.random.default_rng(3).random(iron[0].motion.shape) < 0.05, np.nan, iron[0].motion)
    search = _Search(Patterns(iron[0].frequency_hz, motion), model, PLACES, SETTINGS)
    at = 0.5 * np.random.default_rng(0).standard_normal(len(search.usual))
    _, slope = search._cost(at)
    for k in (0, 2, search.regions, search.regions + 1, search.regions + 2, len(at) - 1):
        step = 1e-4 * np.eye(len(at))[k]
        assert slope[k] == pytest.approx((search._cost(at + step)[0] - search._cost(at - step)[0]) / 2e-4, rel=1e-3)


def test_what_the_patterns_tell_is_put_right(model, iron):
    patterns, _ = iron
    drawn = altered(model, np.zeros(len(model.stiffness)), 0.0)
    before = Covariance(patterns, drawn.frequency_hz, model.at(PLACES) @ drawn.mix, SETTINGS)
    plate = fitted(patterns, model, PLACES, SETTINGS)
    after = Covariance(patterns, plate.frequency_hz, plate.shape, SETTINGS)
    assert 1 - np.median(after.fit) < 0.6 * (1 - np.median(before.fit))


def test_places_are_found_nearer_to_where_they_were_tapped(model, iron):
    search = _Search(iron[0], model, PLACES, SETTINGS)
    seen = {}
    search._plate, plain = lambda x: seen.update(x=x) or plain(x), search._plate
    search.best()
    ways = (seen["x"] * search.usual)[search.regions + 2 :].reshape(-1, 2)
    assert np.mean((ways - WAYS_M) ** 2) < 0.6 * np.mean(WAYS_M**2)


def test_a_later_scan_takes_less_than_a_second(model, iron):
    begun = time.process_time()
    fitted(Patterns(iron[0].frequency_hz, 1.01 * iron[0].motion), model, PLACES, SETTINGS)
    first = time.process_time() - begun
    begun = time.process_time()
    fitted(Patterns(iron[0].frequency_hz, 1.01 * iron[0].motion), model, PLACES, SETTINGS)
    assert first < 1.5 and time.process_time() - begun < 0.1
