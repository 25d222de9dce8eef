"""The odds over all modes that some fell: against numerical integration, and on drawn scores."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import expon, norm

from tapscan.screening.compare.likelihood_ratio import (
    FALLEN_MEAN,
    FALLEN_SHARE,
    MOST,
    fall_likelihood_ratio,
    overdispersion,
)


@pytest.mark.parametrize("z", [-3.0, -0.5, 0.0, 1.0, 2.5, 4.0])
def test_one_mode_against_numerical_integration(z):
    """scipy's quad over the fall, of its normal times exponential density."""
    fallen, _ = quad(lambda d: norm.pdf(z - d) * expon.pdf(d, scale=FALLEN_MEAN), 0, 40)
    ratio = min(fallen / norm.pdf(z), np.exp(MOST))
    wanted = np.log(1 - FALLEN_SHARE + FALLEN_SHARE * ratio)
    still = np.zeros(200)  # keep the rises at rest; each adds the same
    got = fall_likelihood_ratio(np.append(still, z)) - fall_likelihood_ratio(still)
    assert got == pytest.approx(wanted, abs=1e-6)


def test_normal_scores_favour_none_and_a_few_small_drops_together_tell():
    """Six of sixty modes each two to four standard deviations down: none by itself, all together plainly."""
    rng = np.random.default_rng(1)
    plain = [fall_likelihood_ratio(rng.standard_normal(60)) for _ in range(400)]
    assert np.mean(plain) < 0 and np.mean(np.array(plain) > 6.0) < 0.01
    told = []
    for _ in range(100):
        scores = rng.standard_normal(60)
        scores[:6] += rng.uniform(2, 4, 6)
        told.append(fall_likelihood_ratio(scores))
    assert np.mean(np.array(told) > 6.0) > 0.6


def test_rises_that_should_not_be_take_the_evidence_away():
    """The same drops with as many rises: a room that moves modes, not a crack."""
    drops = np.concatenate([np.full(6, 3.5), np.zeros(54)])
    both = np.concatenate([np.full(6, 3.5), np.full(6, -3.5), np.zeros(48)])
    assert fall_likelihood_ratio(drops) > 6.0 > fall_likelihood_ratio(both)
    assert overdispersion(drops) == 1.0 and overdispersion(both) > 1.4


def test_one_wild_pair_makes_no_call():
    assert fall_likelihood_ratio(np.append(np.zeros(60), 40.0)) < 6.0


@pytest.mark.parametrize(("wide", "most"), [(1.0, 0.01), (3.0, 0.1)])  # untreated, three times too wide passes always
def test_wider_scatter_than_stated_is_taken_out(wide, most):
    rng = np.random.default_rng(2)
    assert np.mean([fall_likelihood_ratio(wide * rng.standard_normal(60)) > 6.0 for _ in range(300)]) < most
