"""The reference bar: its simulation against published values, its tones against the truth, and what is told of the chain.

Free-free roots and ratios: Thomson, Theory of Vibration, appendix D. Nodal points at .224 of the length: ASTM E1876 (from memory). Steel's coefficient: tapscan/settings/bar.py.
"""

from functools import cache
from types import SimpleNamespace
from typing import get_args

import numpy as np
import pytest
from msgspec.structs import replace

from bench.bar import reading
from bench.simulate.bar import SHAPES, Bar, Chain, _bending_hz, draw_bar, roots, shape
from tapscan.records import BarMode, BarReading, ChainSign, Pole, UnpairedMode
from tapscan.screening.chain.chain_change import chain_change
from tapscan.screening.chain.measure import matched, moved, thermal
from tapscan.screening.chain.words import of_common, of_list, told
from tapscan.screening.compare.chain_facts import chain_facts, without_lists
from tapscan.screening.rules.change_since_baseline import Evidence
from tapscan.settings import Settings
from tapscan.signal.plate.bar_modes import bar_modes
from tests.every import each

S = Settings()
USUAL = Chain()
STEEL = Bar(0.45, 0.035, 0.011, -0.00014, (1500.0,) * (2 * SHAPES))


def test_free_free_roots_are_the_published_ones():
    assert roots(3) == pytest.approx([4.7300, 7.8532, 10.9956], abs=1e-4)
    thin = _bending_hz(roots(3), 100.0, 1e-3)  # so slender that shear does nothing
    assert thin[1:] / thin[0] == pytest.approx([2.7565, 5.4039], abs=1e-4)


def test_the_lowest_tone_stands_still_at_the_supports():
    first = roots(1)[0]
    assert abs(shape(first, 0.2242)) < 2e-3
    assert abs(shape(first, 0.2242)) < 0.02 < abs(shape(first, 0.20))
    every = np.array([shape(first, x) for x in np.linspace(0, 1, 2001)])
    assert np.mean(every**2) == pytest.approx(1.0, abs=2e-3)


@cache
def read(number: int, chain: Chain = USUAL) -> BarReading:
    return reading(STEEL, chain, np.random.default_rng(number))


def signs(chain: Chain, temperatures_c=(None, None), number: int = 2) -> tuple[str, ...]:
    return chain_change("bar", ("then", "now"), read(1), read(number, chain), S, temperatures_c).seen


def test_tones_are_those_of_the_bar():
    true = np.sort(STEEL.tones()[0])
    found = read(1)
    assert (found.taps, found.used) == (3, 3)
    assert len(found.modes) >= 6
    for m in found.modes:
        apart = np.min(np.abs(np.log(true / m.frequency_hz)))
        assert apart < 4e-4, "supports move a tone by some hundred ppm at most at these frequencies"


CLEAR = Pole(2000.0, 0.01, 5.0, 0.02, (0.1 + 0j, 0.1 + 0j), 60.0)
NO_TONES = {
    "overlapping: a singular Fisher matrix, and no register can hold the error": replace(CLEAR, frequency_sd_hz=np.inf),
    "the same of its decay": replace(CLEAR, decay_rate_sd_per_s=np.inf),
    "hardly out of the noise": replace(CLEAR, snr_db=S.bar.mode_snr_db - 1),
    "a support or the room": replace(CLEAR, decay_rate_per_s=1.1 * np.pi * 2000.0 / S.bar.least_q),
}


def test_what_is_no_tone_of_the_bar_is_left_out():
    for why, pole in {"": CLEAR, **NO_TONES}.items():
        place = SimpleNamespace(heard=[SimpleNamespace(pole=pole)])
        assert len(bar_modes(place, S)) == (not why), why  # type: ignore[arg-type]


QUIET = {
    "as before": (Chain(), (18.0, 18.0)),
    "as before, no thermometer": (Chain(), (None, None)),
    "10 K warmer, and the thermometer says so": (Chain(warmer_k=10.0), (18.0, 28.0)),
    "20 ppm is less than the thermometer's own error": (Chain(clock=2e-5), (18.0, 18.0)),
}


@each("name", QUIET)
def test_what_does_not_stand_out_is_not_called(name):
    assert signs(*QUIET[name]) == ()


LOUD = {
    "clock 1 %": (Chain(clock=0.01), (18.0, 18.0), {"clock"}),
    "clock -1 %": (Chain(clock=-0.01), (18.0, 18.0), {"clock"}),
    "clock 1 %, no thermometer": (Chain(clock=0.01), (None, None), {"clock"}),
    "clock 200 ppm, no thermometer": (Chain(clock=2e-4), (None, None), {"clock or temperature"}),
    "10 K warmer, no thermometer": (Chain(warmer_k=10.0), (None, None), {"clock or temperature"}),
    "10 K warmer, and the thermometer says 10 K colder": (Chain(warmer_k=10.0), (18.0, 8.0), {"clock"}),
    "noise": (Chain(noise_db=-48.0), (18.0, 18.0), {"noise"}),
    "input turned down": (Chain(gain_db=-20.0), (18.0, 18.0), {"gain"}),
    "dead sensor": (Chain(sensor_db=-20.0), (18.0, 18.0), {"level"}),
    "dull sensor": (Chain(low_pass_hz=800.0), (18.0, 18.0), {"response"}),
    "another bar": (Chain(pickup_kg=0.03), (18.0, 18.0), {"bar"}),
}


@each("name", LOUD)
def test_what_changed_is_told(name):
    chain, temperatures_c, expected = LOUD[name]
    assert expected <= set(signs(chain, temperatures_c))


def test_an_error_of_the_clock_is_measured():
    for clock in (-0.01, 1e-3, 1e-4):
        found = moved(read(1), read(3, Chain(clock=clock)), S)
        assert found is not None
        assert found.shift_ppm == pytest.approx(1e6 * np.log1p(clock), abs=4 * found.shift_sd_ppm)
        assert found.shift_sd_ppm < 30


def test_steel_moves_by_half_of_modulus_and_expansion():
    shift, sd = thermal(28.0, 18.0, S) or (0.0, 0.0)
    assert shift == pytest.approx(-1400.0)
    assert sd > 1e6 * 1.4e-4 * S.thermal.thermometer_sd_k, "two readings, and a coefficient that is not known well"
    assert thermal(None, 18.0, S) is None


def test_tones_pair_one_to_one_where_most_agree():
    a = read(1)
    doubled = replace(a, modes=(*a.modes, *a.modes))
    for pairs in (matched(a, doubled, S), matched(doubled, a, S)):
        assert len(pairs) == len({i for i, _ in pairs}) == len({j for _, j in pairs}) == len(a.modes)


def moved_by(ppm: list[float]) -> BarReading:
    """Of ten tones."""
    f = 700.0 * np.arange(1, 11) * (1 + 1e-6 * np.array(ppm + [0.0] * (10 - len(ppm))))
    modes = tuple(BarMode(float(x), 1e-6 * x, 1e-3 * x, 1e-6 * x, -30.0, 1.0) for x in f)
    return BarReading((), 48_000, 3, 3, modes, -25.0, 1.0, -70.0)


def test_one_tone_may_go_its_own_way_and_a_third_of_them_may_not():
    for some, seen in (([300.0], ()), ([300.0, -250.0, 280.0, -300.0], ("bar",))):
        change = chain_change("bar", ("then", "now"), moved_by([]), moved_by(some), S)
        assert change.seen == seen
        assert abs(change.shift_ppm) < 3 * change.shift_sd_ppm, "the others have not moved"


NOT_CONCLUDED = {
    "clock": (True, False),
    "clock or temperature": (False, False),
    "bar": (False, False),
    "gain": (False, True),
    "level": (False, True),
    "response": (False, True),
    "noise": (False, True),
}


def test_what_each_sign_takes_away_and_that_each_is_said():
    """The common change of the plate; lost and new tones."""
    assert set(NOT_CONCLUDED) == set(get_args(ChainSign))
    quiet = chain_change("bar", ("then", "now"), read(1), read(2), S)
    for sign, taken in NOT_CONCLUDED.items():
        change = replace(quiet, seen=(sign,))
        assert (of_common([quiet, change]) is not None, of_list([quiet, change]) is not None) == taken, sign
        assert len(told(change).sentences) == 1, sign
    assert (of_common([quiet]), of_list([quiet])) == (None, None)


def test_tones_that_disagree_widen_what_they_tell_together():
    """Birge's ratio; all within the limit, so the bar moved as one."""
    calm, wild = (moved(moved_by([]), moved_by(ppm), S) for ppm in ([], [45.0, -45.0] * 5))
    assert calm.alike and wild.alike
    assert wild.shift_sd_ppm > 1.3 * calm.shift_sd_ppm


def test_another_hand_is_not_called_another_level():
    """However alike the three taps of one set are."""
    even = replace(read(1), level_sd_db=0.1)
    for db, seen in ((-8.0, ()), (8.0, ()), (-25.0, ("level",))):
        assert chain_change("bar", ("then", "now"), even, replace(even, level_db=even.level_db + db), S).seen == seen


def test_an_input_turned_up_is_not_called_noise():
    louder = replace(read(1), level_db=read(1).level_db + 20, noise_db=read(1).noise_db + 20)
    assert chain_change("bar", ("then", "now"), read(1), louder, S).seen == ("gain",)


def test_a_compressed_recording_tells_nothing_of_levels():
    quiet = replace(read(2, Chain(sensor_db=-20.0)), compressed=True)
    assert chain_change("bar", ("then", "now"), read(1), quiet, S).seen == ()


def test_no_tap_and_no_ring_are_told_and_not_compared():
    mute = BarReading((), 48_000, 0, 0, (), None, None, None, "no tap on the bar could be used")
    change = chain_change("bar", ("then", "now"), read(1), mute, S)
    assert change.reason == mute.reason
    assert (change.seen, change.shift_ppm, change.level_db) == ((), None, None)


def test_two_bars_of_the_shop_are_not_taken_for_one():
    other = reading(draw_bar(np.random.default_rng(11)), Chain(), np.random.default_rng(5))
    assert "bar" in chain_change("bar", ("then", "now"), read(1), other, S).seen


def test_a_chain_that_hears_otherwise_leaves_lost_and_new_tones_uncounted():
    unpaired = (UnpairedMode("M1", 400.0, 0.001, True),)
    evidence = Evidence(None, unpaired, unpaired, None, (), (), "then", None, True)  # type: ignore[arg-type]
    same, noisy = (
        chain_change("bar", ("then", "now"), read(1), read(2, chain), S, (18.0, 18.0))
        for chain in (USUAL, LOUD["noise"][0])
    )
    assert without_lists(evidence, [same]) == evidence
    left = without_lists(evidence, [noisy])
    assert [u.counts for u in (*left.lost, *left.gained)] == [False, False]
    facts = chain_facts(((noisy,), None), ("a",), ("one",))
    assert (facts["unlike"], facts["limitations"]) == (("a", *noisy.sentences), (of_list([noisy]), "one"))
    facts = chain_facts(((same,), None), ("a",), ("one",))
    assert (facts["unlike"], facts["limitations"]) == (("a",), ("one",))
