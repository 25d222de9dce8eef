"""Standard deviations against simulated plates (finite elements) and against what chance makes: a short form of bench/self_scatter.py."""

from dataclasses import replace

import numpy as np
import pytest

from bench import accuracy_plates as simulated
from bench.few_modes import heard
from bench.self_scatter import Unit, of_plate
from bench.simulate import few_modes
from tapscan.signal.plate import self_scatter
from tapscan.signal.plate.self_scatter import _judged, _Own
from tests.compared import scan


def test_a_still_plate_agrees_with_itself_and_keeps_its_figures():
    own = simulated.measured_scan_of(simulated.plate_of(11, 20.0), 11, 35.0, "pickup 1").self_scatter
    assert own.strikes == pytest.approx(
        1, abs=0.15
    )  # 137 modes: three standard deviations of a root mean square are .18
    assert own.places == pytest.approx(1, abs=0.1)
    assert (own.widened_by, own.places_widened) == (1.0, False)


def test_intervals_hold_while_a_plate_warms():
    one = of_plate(Unit("plate warming", 11))
    assert one["widened"] and one["places"] > 1.2
    assert one["held"] / one["of"] >= 0.9  # .5 where places are not asked


WIDTH = np.full(60, 1.0)


def drawn(scatter: float, seed: int = 3) -> tuple[_Own, np.ndarray, np.ndarray]:
    """60 modes of standard deviation .01, 10 places of 4 strikes, each place shifted by `scatter` of what noise moves it by."""
    rng = np.random.default_rng(seed)
    owner = np.repeat(np.arange(10), 4)
    noise = rng.standard_normal((60, 40)) + scatter / 2 * rng.standard_normal((60, 10))[:, owner]
    return _Own(0.01 * noise / np.sqrt(40), np.full((60, 40), 1 / 40)), np.full(60, 0.01), owner


def test_chance_widens_nothing_and_places_that_differ_do():
    told, sd = _judged(*drawn(0.0), WIDTH)
    assert told.strikes == pytest.approx(1, abs=0.2) and told.places == pytest.approx(1, abs=0.1)
    assert sd.tolist() == [0.01] * 60
    told, sd = _judged(*drawn(4.0), WIDTH)
    # A place's mean scatters by root of 1 + 4^2 of noise's: so does the mean over places, and Student's t of nine adds 2.26 / 1.96.
    assert told.places_widened and 2 < told.places < np.sqrt(17)  # z is counted up to four
    assert np.median(sd) == pytest.approx(0.01 * np.sqrt(17) * 2.26 / 1.96, rel=0.15)


def test_strikes_that_differ_widen_all():
    own, sd, owner = drawn(0.0)
    told, wide = _judged(replace(own, adds=3 * own.adds), sd, owner, WIDTH)
    assert told.widened_by == pytest.approx(3, rel=0.25)  # clipped z: a little less
    assert wide.min() >= 0.01 * told.widened_by * 0.999


def test_one_tap_a_place_tells_nothing(monkeypatch):
    rng = np.random.default_rng(2)
    monkeypatch.setattr(few_modes, "ORDER", ("hard",))
    sounds, _ = few_modes.taps_of(few_modes.drawn("strewn", 4, rng), rng)
    found = heard(sounds)
    assert found.self_scatter is None and found.self_scatter_reason == "each place was tapped once"
    assert found.self_scatter_reason in found.agreement


def test_what_is_told_stands_in_the_figures():
    told = self_scatter.SelfScatter(2.0, 30, 2.0, 1.1, False, 0.01)
    assert "2.0 times" in replace(scan(), self_scatter=told).agreement
