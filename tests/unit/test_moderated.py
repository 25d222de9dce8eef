"""Variances held towards what all show: drawn from the model that Smyth (2004) states, which must then be found again."""

import numpy as np
import pytest
from scipy.special import polygamma

from tapscan.signal.plate.moderated import MOST_FREE, _inverse_trigamma, _prior, moderated
from tests.every import each

MANY = 20_000


def drawn(prior_free: float | None, free: float, seed: int = 1):
    """Ratios of sample variances, their true ratios, spread as a scaled inverse chi-square around 1.5."""
    rng = np.random.default_rng(seed)
    true = 1.5 * (np.ones(MANY) if prior_free is None else prior_free / rng.chisquare(prior_free, MANY))
    return true * rng.chisquare(free, MANY) / free, true


@each("prior_free", [3.0, 6.0, 12.0])
def test_the_spread_of_the_true_ratios_is_found_again(prior_free):
    ratio, _ = drawn(prior_free, 5.0)
    found, middle = _prior(ratio, np.full(MANY, 5.0))
    assert found == pytest.approx(prior_free, rel=0.1)
    assert middle == pytest.approx(1.5, rel=0.03)


def test_where_all_scatter_alike_all_get_the_same():
    ratio, _ = drawn(None, 5.0)
    held = moderated(ratio, np.full(MANY, 5.0), np.ones(MANY, dtype=bool))
    assert np.ptp(held.ratio) < 0.2 and held.free.min() > 100
    assert np.median(held.ratio) == pytest.approx(1.5, rel=0.02)


def test_a_few_that_scatter_more_keep_their_own_and_errors_shrink():
    ratio, true = drawn(4.0, 3.0)
    held = moderated(ratio, np.full(MANY, 3.0), np.ones(MANY, dtype=bool))
    wrong = [np.mean(np.log(x / true) ** 2) for x in (ratio, held.ratio)]
    assert wrong[1] < 0.5 * wrong[0]
    assert np.corrcoef(np.log(held.ratio), np.log(true))[0, 1] > 0.6


def test_those_that_tell_nothing_take_what_the_others_show():
    ratio, _ = drawn(4.0, 3.0)
    enough = np.arange(MANY) > 0
    held = moderated(np.where(enough, ratio, 1e9), np.full(MANY, 3.0), enough)
    assert held.ratio[0] == pytest.approx(1.5, rel=0.1) and held.free[0] == pytest.approx(4, rel=0.1)


@each("x", [0.01, 0.7, 3.0, 400.0, MOST_FREE / 2])
def test_the_inverse_is_one(x):
    assert _inverse_trigamma(float(polygamma(1, x))) == pytest.approx(x, rel=1e-6)
