"""Buzz: three figures and enough taps; relevant only once parts were held, until then the test is to be repeated."""

import numpy as np
import pytest

from tapscan.records import RuleNotRun
from tapscan.screening.disposition import dispose
from tapscan.screening.rules import buzz
from tapscan.settings import Settings
from tapscan.signal.observe.buzz import _unevenness
from tests.rule_scans import late, mode, scan

S = Settings()
MODES = [mode("M1", 200.0)]


def heard(sounds, **more):
    return scan(MODES, **{"late_sounds": tuple(sounds), "late_sounds_reason": None, **more})


def test_bursts_in_enough_taps_ask_for_another_test_first():
    given = heard([late(i) for i in range(5)])
    (found,) = buzz.run(given, S)
    assert found.interpretation == "nonrelevant"
    outcome = dispose(given, [found], [], Settings())
    assert outcome.disposition == "inconclusive" and [s.code for s in outcome.steps] == [
        "hold-buzz-bare",
        "look",
        "hold-parts",
    ]
    assert "If it is gone" in outcome.steps[-1].text


def test_where_it_is_clearest_the_sentence_tells_that_more_places_buzz():
    """The first screen named four, the figures three of them without a word of the fourth."""
    (found,) = buzz.run(heard([late(i) for i in range(5)]), S)
    assert len(found.stations) == 5 and "and 2 more" in found.sentence


def test_they_are_relevant_once_parts_were_held():
    given = heard([late(i) for i in range(5)], parts_held=True)
    (found,) = buzz.run(given, S)
    assert found.interpretation == "relevant"
    assert dispose(given, [found], [], Settings()).disposition == "relevant indication"


@pytest.mark.parametrize("less", [{"late_db": 7.9}, {"share_db": -22.1}, {"unevenness": 0.9}])
def test_each_of_the_three_limits_holds(less):
    assert buzz.run(heard([late(i, **less) for i in range(12)]), S) == []


def test_two_taps_are_too_few():
    assert buzz.run(heard([late(0), late(1)]), S) == []
    assert buzz.run(heard([late(0), late(1), late(2)]), S) != []


def test_without_late_sound_it_does_not_run():
    assert isinstance(buzz.run(scan(MODES, late_sounds_reason="too short"), S), RuleNotRun)


def test_unevenness_of_noise_and_of_bursts():
    """Noise of F frames of m samples: sd over mean of the frame powers is sqrt(2 / m), chi-square with m degrees of freedom."""
    noise = np.random.default_rng(2).standard_normal((4, 400, 32))
    even = _unevenness(np.mean(noise**2, axis=2))
    assert even == pytest.approx(np.full(4, np.sqrt(2 / 32)), rel=0.15)  # 0.15: four sd of an sd over 400 frames
    burst = noise * np.where(np.arange(400) % 8 == 0, 6.0, 1.0)[None, :, None]
    assert (_unevenness(np.mean(burst**2, axis=2)) > 1.5).all()  # two levels, 36 and 1, an eighth of the time: 2.15
    falling = noise * np.exp(-np.arange(400) / 150)[None, :, None]
    assert (_unevenness(np.mean(falling**2, axis=2)) < 0.35).all()
