"""Poles of which the sound shows nothing, or that ran away: no crash, no warning, no finite error."""

import warnings

import numpy as np
import pytest

from tapscan.signal.fit.polefit import _inverse, fit_poles
from tapscan.signal.fit.spurious import explained


def test_a_mode_that_nothing_shows_has_no_finite_error_and_no_warning():
    bins = np.arange(100.0, 200.0)
    silence = np.zeros((len(bins), 2), dtype=complex)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        fit = fit_poles(bins, silence, np.array([150.0]), np.array([5.0]), length=8000, rate_hz=8000.0, noise=1e12)
    assert not np.isfinite(np.diag(fit.covariance)).any()


def test_a_fit_that_ran_away_has_no_finite_errors_instead_of_a_crash():
    """Where two modes lie below zero and others far out of the band, their columns are sums of each other but for rounding; seen on a simulated breathing crack."""
    bins = np.arange(1205.5, 1595.5, 0.5)
    far, near = [-1366.383, -1570.935, 3602.689, -2436.988, 2035.019, 791.863], [1279.947, 1412.024, 1417.124, 1289.310]
    quick, slow = [1424.05, 1093.23, 1230.63, 18.22, 17155.5, 28.14], [14.46, 15.58, 10.30, 38.35]
    rng = np.random.default_rng(0)
    noise = 1e4 * (rng.standard_normal((len(bins), 6)) + 1j * rng.standard_normal((len(bins), 6)))
    start = np.array(far + near), np.array(quick + slow)
    fit = fit_poles(bins, noise, *start, length=15900, rate_hz=8000.0, noise=1.0, steps=0)
    assert np.isinf(np.diag(fit.covariance)).all()


@pytest.mark.parametrize("wrong", [np.nan, np.inf, -1.0, 0.0])
def test_no_finite_error_comes_from_sums_that_overflowed_or_cancelled(wrong):
    normal = np.array([[2.0, 0.5], [0.5, wrong]])
    assert np.isinf(_inverse(normal, np.array([0.7, 1.0]))).all()
    plain = _inverse(np.array([[4.0, 0.0], [0.0, 9.0]]), np.array([1 / 2, 1 / 3]))
    assert np.allclose(plain, np.eye(2))


def test_a_far_mode_that_hardly_decays_explains_nothing_and_warns_of_nothing():
    pattern = np.array([1.0, -0.5, 0.2, 0.8]) + 0j
    others = (
        np.array([500.1, 2000.0]),
        np.array([5.0, 1e-160]),
        np.array([[3.0, 3.0, 3.0, 3.0], [9.0, 0.0, 0.0, 0.0]]) + 0j,
    )
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        share = explained(pattern, 500.0, 5.0, others, stations=4)
    alone = explained(pattern, 500.0, 5.0, (others[0][:1], others[1][:1], others[2][:1]), stations=4)
    assert share == alone < 1.0
