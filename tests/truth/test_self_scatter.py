"""Standard deviations against simulated plates (finite elements) and against what chance makes: a short form of bench/self_scatter.py."""

from types import SimpleNamespace

import numpy as np
import pytest
from msgspec.structs import replace

from bench import accuracy_plates as simulated
from bench.few_modes import heard
from bench.self_scatter import Unit, of_plate
from bench.simulate import few_modes
from tapscan.records import Mode, Pole
from tapscan.register.codec import plain, record_of
from tapscan.screening.compare.pairing import mode_table
from tapscan.screening.compare.repeatability import log_loss_sd
from tapscan.signal.plate import self_scatter
from tapscan.signal.plate.self_scatter import _judged, _Own
from tests.compared import scan
from tests.snapshots import same_as_before


def test_a_still_plate_agrees_with_itself_and_keeps_its_figures():
    own = simulated.measured_scan_of(simulated.plate_of(11, 20.0), 11, 35.0, "pickup 1").self_scatter
    assert own.strikes == pytest.approx(
        1, abs=0.15
    )  # 137 modes: three standard deviations of a root mean square are .18
    assert own.places == pytest.approx(1, abs=0.1)
    assert (own.widened_by, own.places_widened) == (1.0, False)


@pytest.fixture(scope="module")
def warming():
    """What bench/self_scatter.py tells of a plate that warms, and the scan that it measured."""
    measured, scans = simulated.measured_scan_of, []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(simulated, "measured_scan_of", lambda *given: scans.append(measured(*given)) or scans[-1])
        told = of_plate(Unit("plate warming", 11))
    return told, scans[0]


def test_intervals_hold_while_a_plate_warms(warming):
    one, _ = warming
    assert one["widened"] and one["places"] > 1.2
    assert one["held"] / one["of"] >= 0.9  # .5 where places are not asked
    assert (
        one["decays_held"] / one["decays"] >= 0.85
    )  # .95 less three standard deviations of 75; .4 where a shift is taken out to first order alone


WIDTH = np.full(60, 1.0)


def drawn(scatter: float, seed: int = 3, many: int = 60) -> tuple[_Own, np.ndarray, np.ndarray]:
    """Modes of standard deviation .01, 10 places of 4 strikes, each place shifted by `scatter` of what noise moves it by."""
    rng = np.random.default_rng(seed)
    owner = np.repeat(np.arange(10), 4)
    noise = rng.standard_normal((many, 40)) + scatter / 2 * rng.standard_normal((many, 10))[:, owner]
    return _Own(0.01 * noise / np.sqrt(40), np.full((many, 40), 1 / 40)), np.full(many, 0.01), owner


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
    assert found.self_scatter is None and found.self_scatter_reason in found.agreement
    same_as_before("fit-notes", found.self_scatter_reason, part="one tap a place")


def test_what_is_told_stands_in_the_figures():
    told = self_scatter.SelfScatter(2.0, 30, 2.0, 1.1, False, 0.01)
    assert "2.0 times" in replace(scan(), self_scatter=told).agreement


def test_what_does_not_matter_widens_nothing():
    """Significant, yet a 95 % interval still holds 93 %: 400 modes, each place scattering 1.08 times as noise does."""
    told, sd = _judged(*drawn(0.4, many=400), np.full(400, 1.0))
    assert 1.02 < told.places < self_scatter.FLOOR
    assert not told.places_widened and sd.tolist() == [0.01] * 400


def test_three_modes_whose_places_differ_leave_the_others_alone():
    own, sd, owner = drawn(0.0)
    wild = drawn(20.0, seed=4)[0]
    own.adds[:3] = wild.adds[:3]
    told, wide = _judged(own, sd, owner, WIDTH)
    assert told.places_widened
    assert (wide[:3] > 0.1).all() and (wide[3:] < 0.017).all() and np.median(wide[3:]) == 0.01
    assert ((wide == 0.01) | (wide > 0.01 * self_scatter.FLOOR)).all()


def test_a_mode_that_drifts_is_wider_the_farther_its_strongest_place_lies_off_the_middle():
    """A straight line of 1 Hz from the first place to the last; all of the information at the first places, or in the middle."""
    order = np.linspace(-0.5, 0.5, 10)
    early, amid = (np.exp(-(((np.arange(10) - at) / 1.5) ** 2)) for at in (1, 4.5))
    wide = []
    for weight in (early, amid):
        share = np.tile(weight / weight.sum(), (8, 1))
        shift = order - share[0] @ order
        wide.append(self_scatter._off_middle(_Own(share * shift, share))[0])
    assert abs(wide[0]) == pytest.approx(abs(np.sum(early * order) / early.sum()), rel=1e-6)
    assert abs(wide[1]) < 1e-9


def test_a_shift_that_two_modes_make_is_their_own_scatter():
    """Two strong modes of six carry what all places seem to share; of forty alike the shift is the plate's."""
    few, many = (np.array([0.001, 0.002, *[1.0] * 4]), np.full(40, 0.01))
    drift = np.linspace(-3e-4, 3e-4, 12)
    joint = SimpleNamespace(drift=drift)
    shifts = [
        self_scatter._shifts(joint, [Pole(100.0, s, 1.0, 0.1, (), 30.0) for s in sd], np.ones(len(sd), dtype=bool))
        for sd in (few, many)
    ]
    assert shifts[0] is not None and shifts[1] is None
    assert np.allclose(shifts[0][0], 100 * drift)
    own = _Own(np.zeros((6, 12)), np.full((6, 12), 1 / 12))
    owner = np.repeat(np.arange(6), 2)
    assert _judged(own, few, owner, WIDTH[:6])[1].tolist() == few.tolist()
    assert _judged(own, few, owner, WIDTH[:6], shifts[0])[1][0] > 2 * few[0]


def test_the_middle_of_the_shared_shift_is_known_no_better_than_modes_agree():
    """100 modes at 100 Hz, 16 places: each place's shift is a mean of modes that lie 1e-5 apart; the median over places of such means, drawn 400 times."""
    rng = np.random.default_rng(7)
    apart = 1e-5 * rng.standard_normal((400, 100, 16))
    true = np.median(apart.mean(axis=1), axis=1).std()
    share = np.full((100, 16), 1 / 16)
    poles = [Pole(100.0, 1e-4, 1.0, 0.1, (), 30.0)] * 100
    told = self_scatter._middle_sd(_Own(share * 100 * apart[0], share), poles, np.ones(100, dtype=bool))
    assert told == pytest.approx(np.full(100, 100 * true), rel=0.15)


def test_comparisons_go_on_with_what_noise_makes(warming):
    """Their limits were chosen with it. The warming plate's modes are stated wider, and what a comparison takes is what it was."""
    modes = warming[1].modes
    wide = [m for m in modes if m.widened[0] > 1]
    assert len(wide) > 0.5 * len(modes)
    assert all(m.noise_sd_hz * m.widened[0] == pytest.approx(m.frequency_sd_hz) for m in wide)
    table = mode_table(modes, [])
    assert table.frequency_sd * table.frequency_hz == pytest.approx([m.noise_sd_hz for m in modes])
    faded = next(replace(m, widened=(m.widened[0], 2.0)) for m in wide if m.decay_rate_sd_per_s)
    assert log_loss_sd(faded) == pytest.approx(faded.decay_rate_sd_per_s / faded.widened[1] / faded.decay_rate_per_s)
    assert record_of(Mode, plain(faded)).widened == faded.widened
